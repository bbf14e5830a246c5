"""The body of a form of our own pages: each name once, text as it may come in, and no more of it than is said."""

import urllib.parse
from collections.abc import Collection
from dataclasses import dataclass

from starlette.requests import Request

from app.errors import Fault, Invalid, Malformed, TooLarge
from app.web.reading.json_body import WrongMediaType
from app.web.reading.text import composed, refused_character

MEDIA_TYPE = "application/x-www-form-urlencoded"


@dataclass(frozen=True, slots=True)
class Form:
    """What was filled in, by name; what was left empty is not in it. `raw` are the bytes as sent."""

    filled: dict[str, str]
    raw: bytes

    def get(self, name: str) -> str:
        """What was filled in there, or nothing."""
        return self.filled.get(name, "")


async def read_form(request: Request, names: Collection[str], most: int) -> Form:
    """A form of at most `most` bytes whose fields are among `names`.

    Raises WrongMediaType, TooLarge, Malformed, and Invalid for a field that is not known, comes twice or has a
    character that is not taken.
    """
    media_type = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if media_type != MEDIA_TYPE:
        raise WrongMediaType((MEDIA_TYPE,))
    raw = bytearray()
    async for chunk in request.stream():
        raw += chunk
        if len(raw) > most:
            raise TooLarge(f"This form may have {most} bytes.")
    try:
        text = raw.decode("ascii")
        pairs = urllib.parse.parse_qsl(text, keep_blank_values=True, errors="strict", max_num_fields=len(names) + 1)
    except ValueError:
        raise Malformed("The form is not percent-encoded UTF-8, or has more fields than there are.") from None
    filled = {name: composed(value.replace("\r\n", "\n").strip()) for name, value in pairs}
    if len(filled) < len(pairs) or not filled.keys() <= set(names):
        raise Invalid.one("unknown-field", "The form has a field that is not known here, or one twice.")
    if faults := [
        Fault("refused-character", f"A character is not taken: {refused}.", pointer=f"/{name}")
        for name, value in filled.items()
        if (refused := refused_character(value, one_line=False))
    ]:
        raise Invalid(faults[0].text, faults)
    return Form({name: value for name, value in filled.items() if value}, bytes(raw))
