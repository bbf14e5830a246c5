"""The guide rows for a kind of riding. Columns for trail and park stand side by side until `riding` decides."""

from collections.abc import Iterable, Sequence

from rapidfuzz import process

from app.catalogue.tables import Guide
from app.errors import Fault, Invalid
from app.questions.configuration.prevailing import Applicable
from app.questions.sheet.gather import Sheet

OTHER_RIDING = "other"
"""Riding that no row names: the rows for any riding apply."""


def refuse_riding(found: Sheet, riding: str | None) -> None:
    """Raises Invalid `riding-unknown` for a kind of riding that neither guides nor intervals of the fork list."""
    ridings = {each.statement.riding for each in found.guides} | {each.statement.riding for each in found.intervals}
    listed = sorted(each for each in ridings if each is not None)
    if riding is not None:
        refuse_unlisted(riding, listed, "tables", parameter="riding")


def refuse_unlisted(
    riding: str, listed: Sequence[str], of: str, *, parameter: str | None = None, pointer: str | None = None
) -> None:
    """Raises Invalid `riding-unknown` for a kind of riding that is neither listed nor `other`, if any is listed."""
    if not listed or riding in (*listed, OTHER_RIDING):
        return
    text = f"The {of} of this fork list {' and '.join(listed)} riding; give one of them, or {OTHER_RIDING}."
    near = process.extractOne(riding, [*listed, OTHER_RIDING])
    raise Invalid(text, [Fault("riding-unknown", text, parameter, pointer, near[0])])


def of_riding(guides: Iterable[Applicable[Guide]], riding: str | None) -> list[Applicable[Guide]]:
    """The rows for a kind of riding, chamber by chamber: its own, else those for any; every row if none is for it."""
    found = list(guides)
    if riding is None:
        return found
    chosen: list[Applicable[Guide]] = []
    for chamber in dict.fromkeys(each.statement.chamber for each in found):
        mine = [each for each in found if each.statement.chamber == chamber]
        own = [each for each in mine if each.statement.riding == riding]
        chosen += own or [each for each in mine if each.statement.riding is None] or mine
    return chosen


def open_riding(guides: Iterable[Applicable[Guide]]) -> list[str]:
    """The kinds of riding that still decide between rows; none if each chamber has rows of one kind."""
    kinds: dict[str | None, set[str | None]] = {}
    for each in guides:
        kinds.setdefault(each.statement.chamber, set()).add(each.statement.riding)
    several = {kind for found in kinds.values() if len(found) > 1 for kind in found}
    return sorted(OTHER_RIDING if kind is None else kind for kind in several)
