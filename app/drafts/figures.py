"""Reads the figure in a cell, or says why only someone with the page can.

A text has one reading or it is a question. Nothing is converted: a figure keeps its digits and its unit, and the text
`7.3 N·m (65 in·lbf)` is read as its first half once both agree.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from app.units.convert import exact, half_last_digit
from app.units.table import Unit, find

DecimalMarks = Literal["point", "comma", "both", "unknown"]
"""The decimal mark that the other cells of a table use beyond doubt."""

HIDDEN = dict.fromkeys(map(ord, "\u200b\u200c\u200d\u2060\ufeff\u00ad"))
NO_FIGURE = frozenset(
    {"-", "–", "—", "−", "‒", "--", "---", "…", "...", "?", "??", "n/a", "#n/a", "na", "n.a.", "n.a", "n. a."}
    | {"n/s", "n/v", "k.a.", "k. a.", "tbd", "t.b.d.", "tbc", "tba", "unknown"}
    | {"not applicable", "not available", "not specified", "not stated"}
)

_NUMBER = r"[+\-−]?(?:[0-9]{1,3}(?:[.,][0-9]{3})+[.,][0-9]+|[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)"
_UNIT = r"[^\s0-9+\-–—±≤≥<>=~≈()\[\]/][^0-9+–—±≤≥<>=~≈()\[\]]*"
_FIGURE = re.compile(rf"(?P<number>{_NUMBER}) ?(?P<unit>{_UNIT})?")
_BETWEEN = re.compile(
    rf"(?P<low>{_NUMBER}) ?(?P<first>(?:{_UNIT})??) ?(?P<to>-|–|—|‒|‐|‑|−|\.\.\.?|…|\bto\b|\bbis\b) ?"
    rf"(?P<high>{_NUMBER}) ?(?P<unit>{_UNIT})?"
)
_AROUND = re.compile(
    rf"(?P<number>{_NUMBER}) ?(?P<first>(?:{_UNIT})??) ?(?:±|\+ ?/ ?[-−–]) ?(?P<around>{_NUMBER}) ?(?P<unit>{_UNIT})?"
)
_UNEVEN = re.compile(
    rf"(?P<number>{_NUMBER}) ?(?P<first>(?:{_UNIT})??) ?\+ ?(?P<above>[0-9.,]+) ?(?:/|,)? ?[-−–] ?(?P<below>[0-9.,]+)"
    rf" ?(?P<unit>{_UNIT})?"
)
_AT_MOST = re.compile(r"(?:(?:max(?:imum|\.)?|at most|up to|bis(?: zu)?)(?![^\W\d])|≤|⩽|<=) ?[:=]? ?", re.IGNORECASE)
_AT_LEAST = re.compile(r"(?:(?:min(?:imum|\.)?|at least)(?![^\W\d])|≥|⩾|>=) ?[:=]? ?", re.IGNORECASE)
_BELOW = re.compile(r"(?:<|(?:under|below|less than)\b) ?", re.IGNORECASE)
_ABOVE = re.compile(r"(?:>|(?:over|above|more than)\b) ?", re.IGNORECASE)
_ABOUT = re.compile(r"(?:[~≈]|(?:ca|c|approx)\.|\b(?:ca|approx|approximately|about|circa)\b) ?", re.IGNORECASE)
_ENDS_MOST = re.compile(r"(?:[ ,]+\(?(?:max(?:imum|\.)?)\)?|\((?:max(?:imum|\.)?)\))$", re.IGNORECASE)
_ENDS_LEAST = re.compile(r"(?:[ ,]+\(?(?:min(?:imum|\.)?)\)?|\((?:min(?:imum|\.)?)\))$", re.IGNORECASE)
_AND_MORE = re.compile(rf"({_NUMBER}) ?((?:{_UNIT})??) ?\+ ?({_UNIT})?")
_MARKED = re.compile(r"(?P<text>.*?[^\s¹²³⁴⁵⁶⁷⁸⁹⁰*†‡§]) ?(?P<mark>[¹²³⁴⁵⁶⁷⁸⁹][⁰-⁹¹²³]*|[*†‡§]+|(?<= )[0-9]{1,2}\))")
_BESIDE = re.compile(r"(?P<main>[^()]+?) ?[(\[](?P<beside>[^()\[\]]+)[)\]]")
_POWER = re.compile(r"(?<![^\W\d])(mm|cm)\^?([23])(?!\w)")
_WITH_SLASH = re.compile(r"(?P<left>[^/+±]+?) ?/ ?(?P<right>[0-9.,][^/+±]*)")
_GROUPED = re.compile(r"[0-9]{1,3}(?:(?P<group>[.,])[0-9]{3})+(?P<point>[.,])[0-9]+")
_THREE_AFTER = re.compile(r"[+\-−]?[1-9][0-9]{0,2}[.,][0-9]{3}")


@dataclass(frozen=True, slots=True)
class CellFigure:
    """A figure with its limits, each as plain digits. `strict` says that a limit itself is excluded.

    `tolerance` is what stands behind ±, as printed.
    """

    value: str | None = None
    low: str | None = None
    high: str | None = None
    unit: Unit | None = None
    about: bool = False
    strict: bool = False
    remarks: tuple[str, ...] = ()
    tolerance: str | None = None


@dataclass(frozen=True, slots=True)
class NoFigure:
    """The cell says that there is no figure, or is empty."""

    text: str


@dataclass(frozen=True, slots=True)
class Unclear:
    """The cell can be read in more than one way, or in none. `offers` are texts that would be clear."""

    why: str
    offers: tuple[str, ...] = ()


CellReading = CellFigure | NoFigure | Unclear


class _Doubt(Exception):
    def __init__(self, why: str, *offers: str) -> None:
        super().__init__(why)
        self.unclear = Unclear(why, offers)


def tidy(text: str) -> str:
    """Text with plain single spaces and without characters that cannot be seen."""
    return " ".join(text.translate(HIDDEN).split())


def is_no_figure(text: str) -> bool:
    """Whether a tidy text says that there is nothing to say."""
    return text == "" or text.casefold() in NO_FIGURE


def marks_of(texts: Iterable[str]) -> DecimalMarks:
    """The decimal mark that the figures of a table use beyond doubt."""
    found = set()
    for text in texts:
        number = _FIGURE.fullmatch(tidy(text))
        digits = number["number"].lstrip("+-−") if number else ""
        mark = next((each for each in ".," if each in digits), None)
        if mark is not None and digits.count(mark) == 1 and not _THREE_AFTER.fullmatch(digits):
            found.add("point" if mark == "." else "comma")
    if len(found) == 2:
        return "both"
    return "point" if "point" in found else "comma" if found else "unknown"


def read_figure(
    text: str, kind: str | None = None, marks: DecimalMarks = "unknown", usual: Unit | None = None
) -> CellReading:
    """The figure that a text gives. `kind` is what its unit must be a unit of; `usual` is the unit of its column."""
    tidied = _POWER.sub(lambda found: found[1] + "²³"[found[2] == "3"], tidy(text))
    if is_no_figure(tidied):
        return NoFigure(tidied)
    try:
        return _Reader(kind, marks, usual).read(tidied)
    except _Doubt as doubt:
        return doubt.unclear


class _Reader:
    def __init__(self, kind: str | None, marks: DecimalMarks, usual: Unit | None = None) -> None:
        self.kind = kind
        self.marks = marks
        self.usual = usual

    def read(self, text: str) -> CellFigure:
        if (beside := _BESIDE.fullmatch(text)) is not None and not _is_limit(beside["beside"]):
            return self._with_beside(beside["main"], beside["beside"])
        if (two := _WITH_SLASH.fullmatch(text)) is not None:
            return self._with_slash(two["left"], two["right"])
        return self._marked(text)

    def _marked(self, text: str) -> CellFigure:
        """A figure that may end in the mark of a footnote. A raised digit that belongs to a unit is no mark."""
        found = self._plain(text)
        if found is not None:
            return found
        marked = _MARKED.fullmatch(text)
        found = self._plain(marked["text"]) if marked is not None else None
        if marked is None or found is None or _is_power(marked["text"], marked["mark"]):
            raise _Doubt("it has more than one reading, or is no figure")
        return replace(found, remarks=(*found.remarks, f"the footnote mark {marked['mark']} is left out"))

    def _plain(self, text: str) -> CellFigure | None:
        """A figure without a footnote mark and without anything beside it; None if it is none."""
        about = _ABOUT.match(text)
        if about is not None and about.end():
            found = self._plain(text[about.end() :])
            return None if found is None else replace(found, about=True)
        for pattern, end, is_strict in (
            (_AT_MOST, "high", False), (_AT_LEAST, "low", False), (_BELOW, "high", True), (_ABOVE, "low", True)
        ):  # fmt: skip
            if (start := pattern.match(text)) is not None:
                return self._limit(text[start.end() :], end, is_strict)
        for pattern, end in ((_ENDS_MOST, "high"), (_ENDS_LEAST, "low")):
            if (last := pattern.search(text)) is not None:
                bare = text[: last.start()]
                if end == "low" and re.fullmatch(_NUMBER, bare):
                    raise _Doubt("“min” can be minutes or a minimum", f"min. {bare}")
                return self._limit(bare, end, False)
        if (more := _AND_MORE.fullmatch(text)) is not None:
            return CellFigure(low=self._digits(more[1]), unit=self._one_unit(more[2], more[3]))
        for read in (self._single, self._between, self._around, self._uneven):
            if (found := read(text)) is not None:
                return found
        return None

    def _limit(self, text: str, end: str, is_strict: bool) -> CellFigure | None:
        found = self._single(text)
        if found is None:
            return None
        low, high = (None, found.value) if end == "high" else (found.value, None)
        return CellFigure(low=low, high=high, unit=found.unit, strict=is_strict)

    def _single(self, text: str) -> CellFigure | None:
        found = _FIGURE.fullmatch(text)
        if found is None or (found["unit"] and not find(found["unit"].strip())):
            return None
        return CellFigure(self._digits(found["number"]), unit=self._unit(found["unit"]))

    def _between(self, text: str) -> CellFigure | None:
        found = _BETWEEN.fullmatch(text)
        if found is None or not _are_units(found["first"], found["unit"]):
            return None
        low, high = self._digits(found["low"]), self._digits(found["high"])
        if low.startswith("-") and not found["to"].isalpha():
            raise _Doubt("a minus sign and a dash look alike")
        if Decimal(low) >= Decimal(high):
            raise _Doubt("the second figure of the range is not above the first")
        return CellFigure(low=low, high=high, unit=self._one_unit(found["first"], found["unit"]))

    def _around(self, text: str) -> CellFigure | None:
        found = _AROUND.fullmatch(text)
        if found is None or not _are_units(found["first"], found["unit"]):
            return None
        digits = self._digits(found["around"])
        return replace(self._tolerated(found, Decimal(digits), Decimal(digits)), tolerance=digits)

    def _uneven(self, text: str) -> CellFigure | None:
        found = _UNEVEN.fullmatch(text)
        if found is None or not _are_units(found["first"], found["unit"]):
            return None
        return self._tolerated(found, Decimal(self._digits(found["below"])), Decimal(self._digits(found["above"])))

    def _tolerated(self, found: re.Match[str], below: Decimal, above: Decimal) -> CellFigure:
        value = self._digits(found["number"])
        if below < 0 or above < 0:
            raise _Doubt("a tolerance below zero")
        low, high = Decimal(value) - below, Decimal(value) + above
        return CellFigure(value, f"{low:f}", f"{high:f}", self._one_unit(found["first"], found["unit"]))

    def _with_beside(self, main: str, beside: str) -> CellFigure:
        """A figure with its limits, its tolerance or the same figure in another unit in brackets."""
        if re.match(r"±|\+", beside):
            return self._marked(f"{main} {beside}")
        first = self._marked(main)
        other = _Reader(None, self.marks)._marked(beside)
        if other.unit is None or other.unit is first.unit:
            if None not in (first.value, other.low, other.high) and first.low is first.high is None:
                low, value, high = (Decimal(str(each)) for each in (other.low, first.value, other.high))
                if low <= value <= high:
                    return replace(first, low=other.low, high=other.high, remarks=first.remarks + other.remarks)
            raise _Doubt("what the brackets mean is not clear")
        if not agree(first, other, self.usual):
            raise _Doubt("the two figures do not agree")
        return replace(first, remarks=(*first.remarks, f"({beside}) is the same figure in another unit"))

    def _with_slash(self, left: str, right: str) -> CellFigure:
        """One figure in two units; anything else has more than one reading."""
        first, other = self._plain(left), _Reader(None, self.marks)._plain(right)
        if first is None or other is None or other.unit is None or not agree(first, other, self.usual):
            raise _Doubt("the figures beside “/” can be two figures, a fraction or two units")
        return replace(first, remarks=(*first.remarks, f"{right} is the same figure in another unit"))

    def _one_unit(self, first: str | None, last: str | None) -> Unit | None:
        units = [self._unit(each) for each in (first, last) if each]
        if len(units) == 2 and units[0] is not units[1]:
            raise _Doubt("it has two units")
        return units[-1] if units else None

    def _unit(self, spelling: str | None) -> Unit | None:
        if not spelling:
            return None
        units = find(spelling.strip())
        if not units:
            raise _Doubt(f"“{spelling.strip()}” is not a known unit")
        if self.kind is None:
            return units[0]
        meant = next((each for each in units if each.kind == self.kind or self.kind == "any"), None)
        if meant is None:
            raise _Doubt(f"{units[0].name} is a unit of {units[0].kind}, not of {self.kind}")
        return meant

    def _digits(self, number: str) -> str:
        """A number as plain digits with a decimal point. Raises _Doubt if its marks can mean two things."""
        if number.startswith("+"):
            raise _Doubt("a plus sign in front can mean “more by”", number[1:])
        sign = "-" if number[0] in "-−" else ""
        bare = number.lstrip("+-−")
        if (grouped := _GROUPED.fullmatch(bare)) is not None:
            if grouped["group"] == grouped["point"]:
                raise _Doubt("its points and commas can be read in two ways")
            bare = bare.replace(grouped["group"], "").replace(grouped["point"], ".")
        elif "," in bare or "." in bare:
            bare = self._with_mark(bare)
        whole, _, rest = bare.partition(".")
        if len(whole) > 1 and whole.startswith("0"):
            raise _Doubt("it begins with a zero")
        if len(whole) > 9 or len(rest) > 9:
            raise _Doubt("it has too many digits")
        if sign and Decimal(bare) == 0:
            raise _Doubt("it is zero with a minus sign")
        return sign + bare

    def _with_mark(self, bare: str) -> str:
        mark = "." if "." in bare else ","
        whole, rest = bare.split(mark)
        as_decimal = f"{whole or '0'}.{rest}"
        own = "point" if mark == "." else "comma"
        if _THREE_AFTER.fullmatch(bare) and self.marks != own:
            raise _Doubt(f"“{mark}” can be a decimal mark or part thousands", as_decimal, whole + rest)
        if mark == "," and self.marks in ("point", "both"):
            raise _Doubt("other cells of this table use a decimal point", as_decimal)
        return as_decimal


def _is_power(text: str, mark: str) -> bool:
    """Whether a raised digit is more likely a power than the mark of a footnote: 10³, mm²."""
    return text == "10" or (mark[0] in "²³" and re.search(r"(?<![·\w])(?:mm|cm|m|in|ft)$", text) is not None)


def _is_limit(text: str) -> bool:
    return text.casefold().rstrip(".") in ("max", "min", "maximum", "minimum")


def _are_units(*spellings: str | None) -> bool:
    return all(not spelling or find(spelling.strip()) for spelling in spellings)


def agree(first: CellFigure, other: CellFigure, usual: Unit | None = None) -> bool:
    """Whether two figures in two units of one kind are the same, to the last digit of the coarser.

    `usual` is the unit of the first if it has none of its own.
    """
    here = first.unit or usual
    pairs = [(first.value, other.value), (first.low, other.low), (first.high, other.high)]
    if here is None or other.unit is None or other.unit is here or any((a is None) != (b is None) for a, b in pairs):
        return False
    there = next((each for each in find(other.unit.name) if each.kind == here.kind), None)
    return there is not None and all(
        _meet(Decimal(a), here, Decimal(b), there) for a, b in pairs if a is not None and b is not None
    )


def _meet(value: Decimal, here: Unit, other: Decimal, there: Unit) -> bool:
    """Whether the intervals that two rounded figures stand for meet, compared in the second unit."""
    half, others_half = half_last_digit(value), half_last_digit(other)
    low, high = exact(value - half, here, there), exact(value + half, here, there)
    return low <= Fraction(other + others_half) and high >= Fraction(other - others_half)
