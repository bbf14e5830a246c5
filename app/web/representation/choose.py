"""Chooses the format of an answer: the suffix overrides `format=`, which overrides Accept (RFC 9110, 12.5.1)."""

import re
from collections.abc import Sequence
from typing import NamedTuple

from app.web.representation.kinds import Representation

_RANGE = re.compile(r"\s*([\w!#$&^.+*-]+)/([\w!#$&^.+*-]+)\s*((?:;[^,]*)?)")
_QUALITY = re.compile(r";\s*q\s*=\s*(0(?:\.\d{0,3})?|1(?:\.0{0,3})?)\s*(?:;|$)", re.IGNORECASE)


class MediaRange(NamedTuple):
    """One element of Accept, with its quality from 0 to 1."""

    kind: str
    subtype: str
    quality: float

    @property
    def exactness(self) -> int:
        """How exact the range is: 2 for a media type, 0 for `*/*`."""
        return (self.kind != "*") + (self.subtype != "*")

    def covers(self, media_type: str) -> bool:
        """Whether a media type is in the range."""
        kind, _, subtype = media_type.partition("/")
        return self.kind in {"*", kind} and self.subtype in {"*", subtype}


def ranges(accept: str) -> list[MediaRange]:
    """The elements of Accept. One that is not a media range is skipped; parameters other than q are ignored."""
    found = []
    for element in accept.split(","):
        if match := _RANGE.fullmatch(element):
            kind, subtype, parameters = match.groups()
            quality = _QUALITY.search(parameters)
            found.append(MediaRange(kind.lower(), subtype.lower(), float(quality[1]) if quality else 1.0))
    return found


def choose(
    forms: Sequence[Representation], *, suffix: str | None, format_: str | None, accept: str | None
) -> Representation | None:
    """The best acceptable format, or None if none of `forms` is acceptable. Ties go to the earlier one."""
    named = suffix or format_
    if named:
        return next((form for form in forms if form.suffix == named), None)
    if accept is None or not accept.strip():
        return forms[0] if forms else None
    wanted = ranges(accept)
    best, best_quality = None, 0.0
    for form in forms:
        covering = [part for part in wanted if part.covers(form.media_type)]
        quality = max(covering, key=lambda part: part.exactness).quality if covering else 0.0
        if quality > best_quality:
            best, best_quality = form, quality
    return best
