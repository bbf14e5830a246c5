"""The parameters that a question leaves open, with their values and the names of these."""

from collections import Counter
from collections.abc import Sequence

from app.catalogue.columns import write_number
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Damper, Part, Row, Spring
from app.questions.answers.views import Undecided
from app.questions.configuration.chassis_context import ChassisContext
from app.units.measure import WHEEL_NAMES

Choice = str | int | float

_HOW = {
    "model_year": "the model year",
    "travel": "the travel",
    "variant": "the variant",
    "spring": "the spring that is fitted",
    "damper": "the damper that is fitted",
    "wheel_size": "the wheel size",
    "serial": "the serial number",
    "fitted_part": "the part that is fitted",
    "offset": "the offset of the fork",
    "riding": "the kind of riding",
}
_TABLES: dict[str, type[Row]] = {"spring": Spring, "from_spring": Spring, "damper": Damper, "fitted_part": Part}
_USUAL = {bead_seat: f"{name} in" for name, bead_seat in WHEEL_NAMES.items()}


def shown_undecided(found: dict[str, list[Choice]], context: ChassisContext) -> list[Undecided]:
    """Each open parameter, with a sentence that asks for it."""
    shown: list[Undecided] = []
    for name, values in found.items():
        text = f"Give {name}: some of this applies only to {_only_to(name, values)}."
        each: Undecided = {"parameter": name, "values": as_asked(values), "text": text}
        if names := names_of(context, name, values):
            each["names"] = names
        shown.append(each)
    return shown


def as_asked(values: Sequence[Choice]) -> list[str]:
    """Values of a parameter as a question gives them."""
    return [value if isinstance(value, str) else write_number(value) for value in values]


def _only_to(name: str, values: Sequence[Choice]) -> str:
    if name == "serial":
        return f"serial numbers {' or '.join(map(str, values))}"
    return f"certain values of {_HOW[name]}"


def names_of(context: ChassisContext, parameter: str, values: Sequence[Choice]) -> list[str]:
    """The names of the values of a parameter, in the same order; None if the values need no names.

    A name that two values share is followed by the id; a missing row is named by its id.
    """
    if parameter == "wheel_size":
        return [_USUAL.get(int(value), f"{value} mm") for value in as_asked(values)]
    ids = [str(value).rpartition(";")[2] for value in values]  # a value includes the parts that were given
    if parameter == "variant":
        rows: dict[str, Row] = dict(context.variants)
    elif parameter in _TABLES:
        rows = _rows(context.snapshot, _TABLES[parameter], ids)
    else:
        return []
    names = [getattr(rows.get(id), "name", None) or id for id in ids]
    often = Counter(names)
    return [name if often[name] == 1 else f"{name} ({id})" for name, id in zip(names, ids, strict=True)]


def _rows(snapshot: Snapshot, table: type[Row], ids: Sequence[str]) -> dict[str, Row]:
    return dict(snapshot.many(table, set(ids)))
