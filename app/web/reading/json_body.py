"""Reads JSON bodies strictly: exact numbers, no duplicate keys, bounded depth and size."""

import json
import re
from decimal import Decimal
from typing import Annotated, Any, NoReturn, TypeVar

from pydantic import BeforeValidator, TypeAdapter, ValidationError, WithJsonSchema
from starlette.requests import Request

from app.errors import Fault, Invalid, Malformed, Refusal
from app.json_types import JsonObject
from app.web.faults import faults_of, pointer
from app.web.reading.text import composed, refused_character

MEDIA_TYPES = ("application/json",)
DEEPEST = 20
MOST_KEYS = 1_000
MOST_VALUES = 100_000
LONGEST_NUMBER = 64
LARGEST_INTEGER = 2**63 - 1
FARTHEST_EXPONENT = 300

_STRING = re.compile(rb'"(?>[^"\\]+|\\.)*+"?', re.DOTALL)  # possessive, with an optional end: linear for any input
_ONE_BRACKET = bytes.maketrans(b"{}", b"[]")
_NO_MARK = bytes(set(range(256)) - set(b"[]{},:"))

JsonValue = dict[str, "JsonValue"] | list["JsonValue"] | str | int | Decimal | bool | None
BodyShape = TypeVar("BodyShape")


class WrongMediaType(Refusal):
    """The body has a media type that the address does not accept (415); `taken` lists those it accepts."""

    def __init__(self, taken: tuple[str, ...]) -> None:
        super().__init__(f"Send the body as {' or '.join(taken)}.")
        self.taken = taken


def _exact(value: object) -> object:
    return Decimal(value) if isinstance(value, int) and not isinstance(value, bool) else value


JsonNumber = Annotated[Decimal, BeforeValidator(_exact), WithJsonSchema({"type": "number"})]
"""A number in a body with all its digits; `true` and `"1.5"` are not numbers."""


def media_type_of(request: Request) -> str:
    """The media type of the body, in lower case and without parameters; empty if none was sent."""
    return request.headers.get("content-type", "").partition(";")[0].strip().lower()


async def read_json(request: Request, taken: tuple[str, ...] = MEDIA_TYPES) -> Any:
    """Read the body as Python values: whole numbers as int, others as Decimal with their digits, text in NFC.

    Raises WrongMediaType, Malformed, Invalid and, from the limits, TooLarge.
    """
    if media_type_of(request) not in taken:
        raise WrongMediaType(taken)
    return parse(await request.body())


async def read_model(request: Request, shape: TypeAdapter[BodyShape]) -> BodyShape:
    """Validate the body as `shape`, without coercion or unknown members (declare a Decimal in it as `JsonNumber`)."""
    return shaped(await read_json(request), shape)


def shaped(value: Any, shape: TypeAdapter[BodyShape]) -> BodyShape:
    """Validate a value as `shape`, under the rules of `read_model`. Raises Invalid with pointers."""
    try:
        return shape.validate_python(value, strict=True, extra="forbid")
    except ValidationError as error:
        faults = faults_of({**found, "loc": ("body", *found["loc"])} for found in error.errors(include_url=False))
        raise Invalid("The body does not match what this address accepts.", faults) from None


def parse(body: bytes) -> Any:
    """Like `read_json`, from bytes."""
    if body.startswith((b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")):
        raise Malformed("The body begins with a byte order mark; JSON is UTF-8 without one (RFC 8259, 8.1).")
    try:
        text = body.decode("utf-8")
    except UnicodeDecodeError as error:
        raise Malformed(f"The body is not UTF-8: byte {error.start} cannot be decoded.") from None
    _refuse_bulk(body)
    try:
        value = json.loads(
            text, object_pairs_hook=_object, parse_float=_decimal, parse_int=_integer, parse_constant=_constant
        )
    except json.JSONDecodeError as error:
        raise Malformed(f"The body is not JSON: {error.msg} at line {error.lineno}, column {error.colno}.") from None
    return _checked(value, ())


def _refuse_bulk(body: bytes) -> None:
    """Refuse a body that is too deep or too large before a value is built, without a Python loop over its bytes.

    Removing every `[]` removes exactly the innermost level, so anything left after `DEEPEST` rounds is deeper (or
    unbalanced, which is not JSON either).
    """
    marks = _STRING.sub(b"", body).translate(_ONE_BRACKET, _NO_MARK)
    if marks.count(b",") + marks.count(b":") > MOST_VALUES:
        raise Malformed(f"The body has more than {MOST_VALUES} keys and values; send a package instead.")
    brackets = marks.translate(None, b",:")
    for _ in range(DEEPEST):
        brackets = brackets.replace(b"[]", b"")
    if brackets:
        raise Malformed(f"The body is nested deeper than {DEEPEST} levels, or its brackets do not match.")


def _object(pairs: list[tuple[str, Any]]) -> JsonObject:
    if len(pairs) > MOST_KEYS:
        raise Malformed(f"An object of the body has more than {MOST_KEYS} keys.")
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise Malformed(f"The key `{twice[:40]}` occurs twice in one object.")
    return found


def _integer(digits: str) -> int:
    if len(digits) > 20 or abs(int(digits)) > LARGEST_INTEGER:
        raise Invalid.one("out-of-range", "An integer in the body is too large.")
    return int(digits)


def _decimal(digits: str) -> Decimal:
    try:
        value = Decimal(digits)
    except ArithmeticError:
        value = Decimal("Infinity")
    if len(digits) > LONGEST_NUMBER or value.is_infinite() or (value and abs(value.adjusted()) > FARTHEST_EXPONENT):
        raise Invalid.one("out-of-range", "A number in the body is too large, too small or too long.")
    return value if value else abs(value)


def _constant(name: str) -> NoReturn:
    raise Invalid.one("not-finite", f"{name} is not a number in JSON.")


def _checked(value: Any, place: tuple[str | int, ...]) -> Any:
    if isinstance(value, str):
        return _text(value, place)
    if isinstance(value, list):
        return [_checked(inner, (*place, position)) for position, inner in enumerate(value)]
    if isinstance(value, dict):
        return {_text(name, place): _checked(inner, (*place, name)) for name, inner in value.items()}
    return value


def _text(value: str, place: tuple[str | int, ...]) -> str:
    if refused := refused_character(value, one_line=False):
        text = f"This character is not allowed: {refused}."
        raise Invalid(text, [Fault("refused-character", text, pointer=pointer(place))])
    return composed(value)
