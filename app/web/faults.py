"""Turns validation errors into faults: stable kebab-case codes and plain sentences that never quote the input."""

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from rapidfuzz import process
from rapidfuzz.distance import OSA

from app.errors import Fault

CODES: dict[str, str] = {
    "missing": "missing",
    "extra_forbidden": "unknown-field",
    "literal_error": "not-a-choice",
    "enum": "not-a-choice",
    "string_pattern_mismatch": "wrong-form",
    "string_too_long": "too-long",
    "string_too_short": "too-short",
    "too_long": "too-many",
    "too_short": "too-few",
    "greater_than": "out-of-range",
    "greater_than_equal": "out-of-range",
    "less_than": "out-of-range",
    "less_than_equal": "out-of-range",
    "multiple_of": "out-of-range",
    "finite_number": "not-finite",
    "int_parsing": "not-an-integer",
    "int_parsing_size": "out-of-range",
    "int_type": "not-an-integer",
    "int_from_float": "not-an-integer",
    "float_parsing": "not-a-number",
    "float_type": "not-a-number",
    "decimal_parsing": "not-a-number",
    "decimal_type": "not-a-number",
    "bool_parsing": "not-true-or-false",
    "bool_type": "not-true-or-false",
    "string_type": "not-text",
    "list_type": "not-a-list",
    "dict_type": "not-an-object",
    "model_type": "not-an-object",
    "model_attributes_type": "not-an-object",
    "date_from_datetime_parsing": "not-a-date",
    "date_parsing": "not-a-date",
    "date_type": "not-a-date",
}
"""Our code for each error type of pydantic; types that are already kebab-case keep their name."""

_KEBAB = re.compile(r"[a-z]+(-[a-z0-9]+)+")
_CHOICE = re.compile(r"'([^']*)'")


def faults_of(found: Iterable[Mapping[str, Any]]) -> list[Fault]:
    """One fault per error of pydantic (`errors()`), placed by its `loc`: a parameter, or a pointer into the body."""
    return [_fault(error) for error in found]


def _fault(error: Mapping[str, Any]) -> Fault:
    kind: str = error["type"]
    code = kind if _KEBAB.fullmatch(kind) else CODES.get(kind, "invalid")
    text = str(error["msg"]).removeprefix("Value error, ")
    context: Mapping[str, Any] = error.get("ctx") or {}
    if kind == "is_instance_of" and context.get("class") == "Decimal":
        code, text = "not-a-number", "It should be a number"
    if kind == "string_type":
        text = "It should be text, in quotes"
    suggestion = None
    if code == "not-a-choice" and isinstance(error.get("input"), str):
        suggestion = nearest(error["input"], _CHOICE.findall(str(context.get("expected", ""))))
    place: Sequence[str | int] = error["loc"]
    if place and place[0] in {"query", "path", "header", "cookie"}:
        name = context.get("parameter") or (str(place[1]) if len(place) > 1 else None)
        return Fault(code, _sentence(text), parameter=name, suggestion=suggestion)
    inside = place[1:] if place and place[0] == "body" else place
    return Fault(code, _sentence(text), pointer=pointer(inside), suggestion=suggestion)


def pointer(place: Sequence[str | int]) -> str:
    """A JSON pointer (RFC 6901): `("rows", 3, "a/b")` is `/rows/3/a~1b`."""
    return "".join("/" + str(part).replace("~", "~0").replace("/", "~1") for part in place)


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name closest to `name`, if at most a third of its letters differ."""
    if len(name) > 80:
        return None
    lowered = name.lower().replace("-", "_") if "-" in name else name.lower()
    best = process.extractOne(lowered, list(known), scorer=OSA.normalized_similarity, score_cutoff=0.66)
    return best[0] if best else None


def _sentence(text: str) -> str:
    text = text.replace("Input should", "It should")
    return text if text.endswith(".") else text + "."
