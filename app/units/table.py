"""The unit table at run time: closed look-ups from spelling to unit, with the factors from pint.

Client text is only ever looked up in a dictionary, after a length cap; it never reaches the unit library. Refuses an
unknown unit (`unit-unknown`) and a unit of another kind (`unit-of-another-kind`).
"""

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cache, lru_cache

from rapidfuzz import fuzz, process

from app.errors import Fault, Invalid
from app.units.definitions import KINDS, UNITS, Definition, Kind
from app.units.factors import factors_of

__all__ = ["KINDS", "LONGEST_SPELLING", "Kind", "Unit", "common_kind", "find", "normalised", "unit", "units_of"]

LONGEST_SPELLING = 24
_ALIKE = str.maketrans(
    {
        "⋅": "·", "∙": "·", "•": "·", "*": "·", "×": "·", "º": "°", "˚": "°", "″": '"', "“": '"', "”": '"',
        "′": "'", "’": "'", "‐": "-", "‑": "-", "–": "-", "−": "-", "∆": "Δ", "µ": "μ",
    }
)  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Unit:
    """A unit of one kind; there is one object per unit, compared by identity.

    `base value = value * factor + offset`; the base is the kind's coherent SI unit.
    """

    kind: Kind
    name: str
    ucum: str
    step: Decimal
    factor: Fraction
    offset: Fraction
    spellings: tuple[str, ...]


def normalised(spelling: str) -> str:
    """One form for look-alikes: compatibility characters, dots, dashes, primes and runs of spaces."""
    return " ".join(unicodedata.normalize("NFKC", spelling.translate(_ALIKE)).translate(_ALIKE).split())


def _spellings(definition: Definition) -> tuple[str, ...]:
    """As listed, the canonical name first; also the UCUM code, unless a more usual kind already owns it."""
    derived = definition.kind in ("absolute pressure", "temperature difference") and definition.ucum not in (
        "atm",
        "hPa",
    )
    ucum = () if derived or definition.ucum == "1" else (definition.ucum,)
    return tuple(dict.fromkeys((definition.name, *definition.symbols, *definition.words, *ucum)))


def _built() -> tuple[Unit, ...]:
    return tuple(
        Unit(d.kind, d.name, d.ucum, Decimal(d.step), factor, offset, _spellings(d))
        for d, (factor, offset) in zip(UNITS, factors_of(UNITS), strict=True)
    )


_TABLE = _built()
_EXACT: dict[str, list[Unit]] = {}
_ANY_CASE: dict[str, list[Unit]] = {}
for _unit, _definition in zip(_TABLE, UNITS, strict=True):
    for _spelling in _unit.spellings:
        _EXACT.setdefault(normalised(_spelling), []).append(_unit)
    for _spelling in dict.fromkeys(normalised(word).casefold() for word in _definition.words):
        _ANY_CASE.setdefault(_spelling, []).append(_unit)


@cache
def units_of(kind: Kind) -> tuple[Unit, ...]:
    """All units of a kind, in the order they are offered."""
    return tuple(each for each in _TABLE if each.kind == kind)


def find(spelling: str) -> tuple[Unit, ...]:
    """Every unit with this spelling, at most one of each kind; empty if there is none. Fast for any text."""
    return _found(spelling) if len(spelling) <= LONGEST_SPELLING else ()


@lru_cache(maxsize=1024)
def _found(spelling: str) -> tuple[Unit, ...]:
    """A sheet looks up three hundred units, of which a dozen differ: kept, it takes a sixth less."""
    key = normalised(spelling)
    found = (*_EXACT.get(key, ()), *_ANY_CASE.get(key.casefold(), ()))
    return tuple({each.kind: each for each in reversed(found)}.values())[::-1]


def unit(kind: Kind, spelling: str, *, parameter: str | None = None) -> Unit:
    """The unit of that kind with this spelling.

    Raises Invalid: `unit-unknown`, or `unit-of-another-kind` naming both kinds.
    """
    found = find(spelling)
    for each in found:
        if each.kind == kind:
            return each
    permitted = f"units of {kind} are {_listed(kind)}"
    if found:
        text = f"{_quoted(spelling)} is a unit of {found[0].kind}, not of {kind}; {permitted}"
        raise Invalid.one("unit-of-another-kind", text, parameter=parameter)
    raise Invalid.one(
        "unit-unknown",
        f"{_quoted(spelling)} is not a known unit; {permitted}",
        parameter=parameter,
        suggestion=_nearest(spelling, (kind,)),
    )


def common_kind(start: str, target: str, *, parameters: tuple[str, str] = ("from", "to")) -> tuple[Unit, Unit]:
    """Two spellings read as units of one kind. Raises Invalid as `unit` does, naming the parameter at fault."""
    starts, targets = find(start), find(target)
    unknown = [
        Fault(
            "unit-unknown",
            f"{_quoted(text)} is not a known unit; /v1/units lists them all",
            parameter=parameter,
            suggestion=_nearest(text, KINDS),
        )
        for text, found, parameter in ((start, starts, parameters[0]), (target, targets, parameters[1]))
        if not found
    ]
    if unknown:
        raise Invalid(unknown[0].text, unknown)
    for here in starts:
        for there in targets:
            if here.kind == there.kind:
                return here, there
    here, there = starts[0], targets[0]
    text = (
        f"{here.name} is a unit of {here.kind} and {there.name} of {there.kind}; you can only convert within "
        f"one kind: units of {here.kind} are {_listed(here.kind)}"
    )
    raise Invalid.one("unit-of-another-kind", text, parameter=parameters[1])


def _listed(kind: Kind) -> str:
    return ", ".join(each.name for each in units_of(kind))


def _quoted(text: str) -> str:
    """The text that was sent, if it is short and harmless; never a long or unprintable text."""
    return f"“{text}”" if 0 < len(text) <= LONGEST_SPELLING and text.isprintable() else "the text given"


def _folded(text: str) -> str:
    return normalised(text).casefold()


def _nearest(text: str, kinds: Iterable[Kind]) -> str | None:
    if not 0 < len(text) <= LONGEST_SPELLING:
        return None
    offered = {spelling: each.name for kind in kinds for each in units_of(kind) for spelling in each.spellings}
    best = process.extractOne(text, [*offered], scorer=fuzz.ratio, processor=_folded, score_cutoff=60)
    return offered[best[0]] if best else None
