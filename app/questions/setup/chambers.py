"""The chambers of an air spring: what each is filled to, its maximum, and the order of filling.

A pressure that depends on another chamber is computed exactly. If it must be rounded, a least pressure rounds up.
"""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from app.catalogue.agreement import pascals, unit_of
from app.catalogue.columns import write_number
from app.catalogue.tables import AirChamber, Guide, SpringChamber
from app.questions.answers.views import source_ref
from app.questions.setup.builder import SetupBuilder
from app.questions.setup.inputs import ForRider, SetupInputs, Target, guide_rows, valves_of
from app.questions.setup.limits import PressureLimited, maximum_of, maximum_view
from app.questions.setup.parameters import Circumstances
from app.questions.setup.views import Basis, ChamberView, SetupAnswer
from app.units.convert import plain, round_limit, step_for
from app.units.measure import Measure
from app.units.preferences import Units
from app.units.quantity import Quantity, figure_to_set, quantity, to_set
from app.units.table import Unit

ORDER: tuple[AirChamber, ...] = ("positive", "second positive", "negative")


class Filling(NamedTuple):
    """A gauge pressure as figures in one unit: what is published or given, or follows from that."""

    value: Decimal | None
    low: Decimal | None
    high: Decimal | None
    unit: Unit
    basis: Basis
    statements: tuple[str, ...]

    @property
    def target(self) -> Decimal:
        """The figure to set: the value, else the middle of a range, else the only limit."""
        return figure_to_set(self.value, self.low, self.high)

    @property
    def at_least(self) -> bool:
        """Whether only the least pressure is known."""
        return self.value is None and self.high is None

    @property
    def gauge_pa(self) -> Fraction:
        """The figure to set, in pascals."""
        return Fraction(self.target) * self.unit.factor

    def shown(self, units: Units) -> Quantity:
        """The pressure in the chosen units."""
        return quantity(
            "pressure", self.value, self.unit.name, minimum=self.low, maximum=self.high, is_set=True, to=units
        )


def negative_filling(
    asked: Circumstances, guides: ForRider, target: Target, chambers: Sequence[SpringChamber]
) -> Filling | None:
    """The fill of a negative chamber, as far as it is known before the start pressure is computed."""
    positive = _given(asked.pressure) or _published(guides, target, "positive")
    return _fillings(asked, guides, target, chambers, positive).get("negative")


def put_chambers(
    answer: SetupAnswer, work: SetupBuilder, ground: SetupInputs, basis: Basis | None, start: Quantity | None
) -> None:
    """Every chamber that has a valve, if there are several: its pressure, its maximum and its place in the order."""
    listed = {each.chamber: each for each in ground.chambers}
    valves = valves_of(ground.spring, ground.chambers)
    if len(valves) < 2 or (start is None and not listed):
        return
    positive = None
    if start is not None and basis is not None:
        positive = _start(start, basis, ground)
    fillings = _fillings(work.asked, work.guides, ground.target, ground.chambers, positive)
    shown = [_view(name, listed.get(name), fillings.get(name), work, ground) for name in valves]
    if start is not None:
        shown[0]["pressure"] = start
    ordered = all("order" in each for each in shown)
    answer["chambers"] = sorted(shown, key=lambda each: each["order"]) if ordered else shown
    if not ordered:
        text = "The catalogue does not say which chamber is filled first. See the maker's manual."
        work.miss("filling-order", "filling the second chamber moves the piston", text)
    if "second positive" in valves and "second positive" not in fillings:
        text = "The catalogue gives no pressure of the second positive chamber for this rider."
        work.miss("second-positive-pressure", "both positive chambers together carry the rider", text)
    if any(each.get("within_limit") is False for each in shown):
        work.codes.append("over-pressure-limit")


def _start(start: Quantity, basis: Basis, ground: SetupInputs) -> Filling | None:
    """The start pressure: exactly as given or published, else as it is shown."""
    if basis == "given":
        return _given(ground.asked.pressure)
    if basis == "published":
        return _published(ground.guides, ground.target, "positive")
    return _of(Decimal(write_number(to_set(start))), None, None, start["unit"], basis, ())


def _given(pressure: Measure | None) -> Filling | None:
    return None if pressure is None else _of(pressure.given_value, None, None, pressure.given_unit, "given", ())


def _fillings(
    asked: Circumstances, guides: ForRider, target: Target, chambers: Sequence[SpringChamber],
    positive: Filling | None,
) -> dict[AirChamber, Filling]:  # fmt: skip
    """The fill of each chamber: given, else published for the rider, else from the chamber it depends on."""
    found: dict[AirChamber, Filling] = {} if positive is None else {"positive": positive}
    if (given := _given(asked.negative)) is not None:
        found["negative"] = given
    for name in ORDER[1:]:
        published = _published(guides, target, name)
        if name not in found and published is not None:
            found[name] = published
    waiting = [each for each in chambers if each.chamber not in found and each.relative_to is not None]
    while ready := [each for each in waiting if each.relative_to in found]:
        for each in ready:
            waiting.remove(each)
            if (follows := _relative(each, found)) is not None:
                found[each.chamber] = follows
    return found


def _published(guides: ForRider, target: Target, chamber: AirChamber) -> Filling | None:
    rows = guide_rows(guides, target, chamber)
    return _of_guide(rows[0]) if len(rows) == 1 else None


def _of_guide(row: Guide) -> Filling | None:
    return _of(row.pressure, row.pressure_min, row.pressure_max, row.pressure_unit, "published", (row.id,))


def _of(
    value: Decimal | None, low: Decimal | None, high: Decimal | None, spelling: str | None, basis: Basis,
    statements: tuple[str, ...],
) -> Filling | None:  # fmt: skip
    unit = None if spelling is None else unit_of("pressure", spelling)
    return None if unit is None else Filling(value, low, high, unit, basis, statements)


def _relative(row: SpringChamber, found: Mapping[AirChamber, Filling]) -> Filling | None:
    """The fill of a chamber from that of another: above it by the offset, or at least so many times it."""
    if row.relative_to is None:
        return None
    other = found[row.relative_to]
    if row.factor_min is not None:
        exact = Fraction(other.target) * Fraction(row.factor_min)
        least = round_limit(exact, step_for(exact, other.unit), "minimum")
        return other._replace(value=None, low=least, high=None)
    of_offset = None if row.unit is None else unit_of("pressure", row.unit)
    if row.offset is None or of_offset is None:
        return None
    offset = row.offset
    if of_offset is not other.unit:
        exact = Fraction(offset) * of_offset.factor / other.unit.factor
        offset = round_limit(exact, step_for(exact, other.unit), "nominal")
    value, low, high = (None if each is None else each + offset for each in other[:3])
    return other._replace(value=value, low=low, high=high)


def relation(row: SpringChamber) -> str | None:
    """How the pressure of a chamber depends on another one, in words."""
    if row.relative_to is None:
        return None
    if row.factor_min is not None:
        return f"at least {plain(row.factor_min)} times the {row.relative_to} chamber"
    if row.offset is None or row.unit is None:
        return None
    way = "below" if row.offset < 0 else "above"
    return f"{plain(abs(row.offset))} {row.unit} {way} the {row.relative_to} chamber"


def _view(
    name: AirChamber, row: SpringChamber | None, filled: Filling | None, work: SetupBuilder, ground: SetupInputs
) -> ChamberView:
    shown: ChamberView = {"chamber": name, "statements": [] if filled is None else list(filled.statements)}
    if filled is not None:
        shown["pressure"], shown["basis"] = filled.shown(work.units), filled.basis
    if row is not None and (words := relation(row)) is not None:
        shown["relative"] = words
    if row is not None and row.order is not None:
        shown["order"] = row.order
    if row is not None and (source := source_ref(row, work.found.context.sources)) is not None:
        shown["source"] = source
    strictest = _strictest(name, row, ground)
    if strictest is not None:
        most_pa, limiting = strictest
        maximum = maximum_view(limiting, work.units)
        if maximum is not None:
            shown["maximum"] = maximum
        if filled is not None:
            shown["within_limit"] = filled.gauge_pa <= most_pa
    return shown


def _strictest(
    name: AirChamber, row: SpringChamber | None, ground: SetupInputs
) -> tuple[Fraction, PressureLimited] | None:
    """The lowest maximum of a chamber, with the row that states it: its own, or that of the whole assembly."""
    stated: list[PressureLimited] = [ground.spring]
    stated += [ground.fit] if name == "positive" else []
    stated += [row] if row is not None else []
    found = [(most, each) for each in stated if (most := _maximum_pa(each)) is not None]
    return min(found, key=lambda each: each[0], default=None)


def _maximum_pa(row: PressureLimited) -> Fraction | None:
    column, unit = maximum_of(row)
    return pascals(row[column], unit)
