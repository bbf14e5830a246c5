"""Guesses what an unreadable cell was meant to be, from common slips of spreadsheets and typing."""

import re

from rapidfuzz import process

from app.catalogue.columns import Column, Unreadable
from app.exchange.faults import shortened

THOUSANDS = re.compile(r"([1-9][0-9]{0,2}),([0-9]{3})")
WITH_UNIT = re.compile(r"(-?[0-9]+(?:\.[0-9]+)?) ?([^\W\d_][^\d]{0,11}|[°%\"”])")
YEAR_FIRST = re.compile(r"([0-9]{4})[-/. ]([0-9]{1,2})(?:[-/. ]([0-9]{1,2}))?")
MONTH_FIRST = re.compile(r"([0-9]{1,2})[-/. ]([0-9]{4})")


def how_to_write(column: Column, text: str) -> str | None:
    """How to write the cell: `write …` if one reading is likely, else what to look for on the page, or None."""
    tidy = " ".join(text.split())
    for guess in _guesses(column, tidy):
        if _reads(column, guess):
            return f"write {shortened(guess)}"
    if column.kind.field_type in ("number", "integer"):
        if (thousands := THOUSANDS.fullmatch(tidy)) and _reads(column, "".join(thousands.groups())):
            whole, rest = thousands.groups()
            either = [text for text in (f"{whole}.{rest}", whole + rest) if _reads(column, text)]
            return f"write what the page says, {' or '.join(either)}"
        if (with_unit := WITH_UNIT.fullmatch(tidy)) and column.unit_column and _reads(column, with_unit[1]):
            return f"write {with_unit[1]}; the unit {shortened(with_unit[2])} goes in the column {column.unit_column}"
    if column.options:
        near = process.extractOne(tidy.lower(), column.options, score_cutoff=60)
        return f"write {near[0]}" if near else "write the one that the page gives"
    return f"write what the page says, like this: {column.example}" if column.example else None


def _guesses(column: Column, tidy: str) -> list[str]:
    guesses = [tidy, tidy.lower()]
    if not THOUSANDS.fullmatch(tidy):
        guesses.append(tidy.replace(",", "."))
    guesses.append(tidy.lower().replace(" ", "-").replace("_", "-"))
    if column.kind.items is not None:
        guesses.append(";".join(part.strip() for part in tidy.replace("|", ",").replace(",", ";").split(";")))
    if "." in tidy and tidy.rstrip("0").endswith("."):
        guesses.append(tidy.rstrip("0").rstrip("."))
    with_unit = WITH_UNIT.fullmatch(tidy)
    if with_unit and column.unit is not None and with_unit[2].lower() == column.unit.lower():
        guesses.append(with_unit[1])
    if column.kind.name == "date":
        if year_first := YEAR_FIRST.fullmatch(tidy):
            guesses.append("-".join(part.zfill(2) for part in year_first.groups() if part))
        if month_first := MONTH_FIRST.fullmatch(tidy):
            guesses.append(f"{month_first[2]}-{month_first[1].zfill(2)}")
    return guesses


def _reads(column: Column, text: str) -> bool:
    try:
        column.kind.read(text)
    except Unreadable:
        return False
    return True
