"""Bodies of forms on our own pages: known fields only, each at most once, bounded in size."""

import re
import urllib.parse
from collections.abc import Collection
from dataclasses import dataclass

from starlette.requests import Request

from app.errors import Fault, Invalid, Malformed, TooLarge
from app.web.reading.json_body import WrongMediaType, media_type_of
from app.web.reading.text import composed, refused_character

MOST_FIELDS = 500
MEDIA_TYPE = "application/x-www-form-urlencoded"


@dataclass(frozen=True, slots=True)
class Form:
    """The values by field name, without empty ones. `raw` holds the bytes as sent."""

    filled: dict[str, str]
    raw: bytes

    def get(self, name: str) -> str:
        """The value of a field, or an empty text."""
        return self.filled.get(name, "")


async def read_form(request: Request, names: Collection[str] | re.Pattern[str], most: int) -> Form:
    """Read a form of at most `most` bytes whose fields are among `names`, or match it.

    Raises WrongMediaType, TooLarge, Malformed, and Invalid for an unknown or repeated field or a forbidden
    character.
    """
    if media_type_of(request) != MEDIA_TYPE:
        raise WrongMediaType((MEDIA_TYPE,))
    raw = bytearray()
    async for chunk in request.stream():
        raw += chunk
        if len(raw) > most:
            raise TooLarge(f"This form may be at most {most} bytes.")
    try:
        text = raw.decode("ascii")
        most_fields = MOST_FIELDS if isinstance(names, re.Pattern) else len(names) + 1
        pairs = urllib.parse.parse_qsl(text, keep_blank_values=True, errors="strict", max_num_fields=most_fields)
    except ValueError:
        raise Malformed("The form is not percent-encoded UTF-8, or has too many fields.") from None
    filled = {name: composed(value.replace("\r\n", "\n").strip()) for name, value in pairs}
    unknown = (not names.fullmatch(name) if isinstance(names, re.Pattern) else name not in names for name in filled)
    if len(filled) < len(pairs) or any(unknown):
        raise Invalid.one("unknown-field", "The form has an unknown field, or the same field twice.")
    if faults := [
        Fault("refused-character", f"This character is not allowed: {refused}.", pointer=f"/{name}")
        for name, value in filled.items()
        if (refused := refused_character(value, one_line=False))
    ]:
        raise Invalid(faults[0].text, faults)
    return Form({name: value for name, value in filled.items() if value}, bytes(raw))
