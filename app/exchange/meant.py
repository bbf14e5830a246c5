"""Guesses what an unreadable cell was meant to be, from common slips of spreadsheets and typing."""

import re
from decimal import Decimal

from rapidfuzz import process

from app.catalogue.columns import Column, Unreadable
from app.exchange.shown import shortened
from app.rules.columns import LIMITED

THOUSANDS = re.compile(r"([1-9][0-9]{0,2}),([0-9]{3})")
WITH_UNIT = re.compile(r"(-?[0-9]+(?:\.[0-9]+)?) ?([^\W\d_][^\d]{0,11}|[°%\"”])")
YEAR_FIRST = re.compile(r"([0-9]{4})[-/. ]([0-9]{1,2})(?:[-/. ]([0-9]{1,2}))?")
FIGURE = r"([0-9]+(?:[.,][0-9]+)?)"
BETWEEN = re.compile(FIGURE + r" ?(?:-|–|—|\.\.\.?|…|to|bis) ?" + FIGURE)
TOLERANCE = re.compile(FIGURE + r" ?\(?(?:±|\+/-|\+-) ?" + FIGURE + r"\)?")
AT_MOST = re.compile(r"(?:max\.?|maximum|at most|up to|≤|<=|<) ?" + FIGURE, re.IGNORECASE)
AT_LEAST = re.compile(r"(?:min\.?|minimum|at least|from|≥|>=|>) ?" + FIGURE, re.IGNORECASE)
NOTHING = frozenset({"n/a", "na", "-", "–", "—", "none", "?", "tbd", "nil", "unknown", "n.a.", "..."})
MONTH_FIRST = re.compile(r"([0-9]{1,2})[-/. ]([0-9]{4})")


def how_to_write(column: Column, text: str) -> str | None:
    """How to write the cell: `write …` if one reading is likely, else what to look for on the page, or None."""
    tidy = " ".join(text.split())
    for guess in _guesses(column, tidy):
        if _reads(column, guess):
            return f"write {shortened(guess)}"
    if column.kind.field_type in ("number", "integer"):
        if tidy.casefold() in NOTHING:
            return "leave the cell empty: the source gives no figure"
        if (limits := _limits(column, tidy)) is not None:
            return limits
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


def _limits(column: Column, tidy: str) -> str | None:
    """How to write a range, a figure with its tolerance, or a lone limit; None if the text is none of these."""
    low, value, high = next((ends for ends in LIMITED if column.name in ends), (None, column.name, None))
    if (between := BETWEEN.fullmatch(tidy)) is not None:
        least, most = (_plain(text) for text in between.groups())
        if low is None:
            return f"write one figure: the page says {least} to {most}, and this column has no limits beside it"
        return f"write {least} into {low} and {most} into {high}, and leave {value} empty"
    if (tolerance := TOLERANCE.fullmatch(tidy)) is not None:
        nominal, around = (Decimal(_plain(text)) for text in tolerance.groups())
        if low is None:
            return f"write {nominal}; this column has no limits beside it"
        return f"write {nominal} into {value}, {nominal - around} into {low} and {nominal + around} into {high}"
    for pattern, end, word in ((AT_MOST, high, "at most"), (AT_LEAST, low, "at least")):
        if (limit := pattern.fullmatch(tidy)) is not None:
            figure = _plain(limit[1])
            if end is None:
                return f"write {figure} if the page means it so: it says {word}"
            return f"write {figure} into {end}" + ("" if column.name == end else f" and leave {column.name} empty")
    return None


def _plain(figure: str) -> str:
    return figure.replace(",", ".")


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
        column.kind.enter(text)
    except Unreadable:
        return False
    return True
