"""The exact factor of each unit to the SI unit of its kind, from pint, stored in `factors.json`.

This is the only place that uses pint, and no text from a client reaches it. pint takes a sixth of the start-up time, so
its factors are committed next to this module with its version. They are computed again if another version of pint is
installed or a definition has changed. `python -m app.units.factors` rewrites the file.
"""

import json
from collections.abc import Sequence
from fractions import Fraction
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path

from app.units.definitions import BASES, UNITS, Definition

KEPT = "factors.json"


def factors_of(definitions: Sequence[Definition]) -> list[tuple[Fraction, Fraction]]:
    """Factor and offset of each unit: base value = value × factor + offset."""
    kept = json.loads(files("app.units").joinpath(KEPT).read_text(encoding="utf-8"))
    wanted = [key(each) for each in definitions]
    if kept["pint"] != version("pint") or not kept["units"].keys() >= set(wanted):
        return asked(definitions)
    return [(Fraction(factor), Fraction(offset)) for factor, offset in (kept["units"][each] for each in wanted)]


def asked(definitions: Sequence[Definition]) -> list[tuple[Fraction, Fraction]]:
    """Factor and offset of each unit from pint, which sees only the texts of the definitions, never a client's."""
    import pint

    registry: pint.UnitRegistry[Fraction] = pint.UnitRegistry(non_int_type=Fraction, cache_folder=None)
    found = []
    for each in definitions:
        at_zero, at_one = (
            Fraction(registry.Quantity(Fraction(point), each.pint).to(BASES[each.kind].pint).magnitude)
            for point in (0, 1)
        )
        found.append((at_one - at_zero, at_zero))
    return found


def kept_as(definitions: Sequence[Definition]) -> str:
    """The text of `factors.json` for these definitions and the installed version of pint."""
    units = {
        key(each): [str(factor), str(offset)]
        for each, (factor, offset) in zip(definitions, asked(definitions), strict=True)
    }
    return json.dumps({"pint": version("pint"), "units": units}, ensure_ascii=False, indent=1) + "\n"


def key(definition: Definition) -> str:
    """The inputs of the factor: the unit and the base in the syntax of pint."""
    return f"{definition.pint} in {BASES[definition.kind].pint}"


if __name__ == "__main__":
    Path(__file__).with_name(KEPT).write_text(kept_as(UNITS), encoding="utf-8")
