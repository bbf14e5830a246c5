"""The limits of a set-up and whether they are met. A value beyond one is shown as it is, never clamped.

A maximum fill pressure is a gauge pressure at full extension: start pressures are compared with it, never the peak.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

from app.catalogue.tables import Fit, Limit, Source, Spring, SpringChamber, is_row_of
from app.questions.answers.gap import Gap
from app.questions.answers.views import ScopeView, figure, scope_of_fit, scope_view, source_ref
from app.questions.configuration.prevailing import Applicable
from app.questions.setup.parameters import Circumstances, si_of
from app.questions.setup.views import PressureLimit, RiderLimit, SetupLimits
from app.units.preferences import Units
from app.units.quantity import Quantity

RIDER_MASS = "rider mass"
Exceeded = Literal["spacer limit", "pressure limit"]
LimitOf = Literal["fit", "spring", "chamber"]
PressureLimited = Fit | Spring | SpringChamber
"""A row that states a maximum fill pressure."""


def maximum_of(row: PressureLimited) -> tuple[str, str | None]:
    """The column of a maximum fill pressure, and its unit."""
    return ("maximum", row.unit) if is_row_of(row, SpringChamber) else ("pressure_limit", row.pressure_unit)


def maximum_view(row: PressureLimited, units: Units) -> Quantity | None:
    """The maximum fill pressure that a row states."""
    column, unit = maximum_of(row)
    return figure(row, "pressure", None, unit, units, maximum=column)


@dataclass(frozen=True, slots=True)
class KeptLimits:
    """Limits that must not be exceeded: pressures in Pa gauge; None if not stated."""

    fit: Fit | None
    spring: Spring | None
    riders: tuple[Applicable[Limit], ...] = ()
    pressures: tuple[tuple[LimitOf, PressureLimited, float], ...] = field(default=())

    @property
    def spacers(self) -> int | None:
        """The maximum number of volume spacers for the fit."""
        return None if self.fit is None else self.fit.spacer_limit

    @property
    def pressure_pa(self) -> float | None:
        """The lowest maximum fill pressure that is stated."""
        return min((limit for _, _, limit in self.pressures), default=None)

    @property
    def all_stated(self) -> bool:
        """Whether both the maximum number of spacers and the maximum pressure are stated."""
        return self.spacers is not None and self.pressure_pa is not None

    def over_pressure(self, gauge_pa: float) -> bool:
        """Whether a start pressure is above any maximum, beyond rounding error."""
        return self.pressure_pa is not None and gauge_pa > self.pressure_pa * (1 + 1e-9)

    def over_rider(self, asked: Circumstances) -> bool:
        """Whether the rider is heavier than any limit of the rider's mass."""
        return any(over_rider(each, asked) for each in self.riders)

    def exceeded(self, gauge_pa: float, spacers: int | None) -> list[Exceeded]:
        """The limits that a start pressure and a number of spacers exceed."""
        beyond: list[Exceeded] = []
        if spacers is not None and self.spacers is not None and spacers > self.spacers:
            beyond.append("spacer limit")
        if self.over_pressure(gauge_pa):
            beyond.append("pressure limit")
        return beyond


def limits_of(
    fit: Fit | None, spring: Spring | None, listed: Iterable[Applicable[Limit]], chambers: Iterable[SpringChamber] = ()
) -> KeptLimits:
    """The limits of a fit, its spring with the positive chamber, and the chassis."""
    stated: list[tuple[LimitOf, PressureLimited | None]] = [("fit", fit), ("spring", spring)]
    stated += [("chamber", each) for each in chambers if each.chamber == "positive"]
    pressures: list[tuple[LimitOf, PressureLimited, float]] = []
    for of, row in stated:
        column, unit = ("", None) if row is None else maximum_of(row)
        if row is not None and unit is not None and row[column] is not None:
            pressures.append((of, row, si_of("pressure", row[column], unit)))
    riders = tuple(each for each in listed if each.statement.subject == RIDER_MASS and each.statement.max is not None)
    return KeptLimits(fit, spring, riders, tuple(pressures))


def over_rider(each: Applicable[Limit], asked: Circumstances) -> bool:
    """Whether the rider is heavier than a limit of the rider's mass."""
    row = each.statement
    if row.max is None or row.unit is None or asked.rider_kg is None:
        return False
    return asked.rider_kg > si_of("mass", row.max, row.unit) * (1 + 1e-9)


def limits_view(
    limits: KeptLimits, start_pa: float | None, band_high_pa: float | None, spacers: int | None,
    asked: Circumstances, sources: dict[str, Source], units: Units,
) -> tuple[SetupLimits, list[str]]:  # fmt: skip
    """The limits in words and quantities, and the codes of the cautions if one is exceeded."""
    codes: list[str] = []
    shown: SetupLimits = {"pressure": [], "rider_mass": [], "text": ""}
    is_coil = limits.spring is not None and limits.spring.kind == "coil"
    for of, row, limit_pa in limits.pressures:
        limit = maximum_view(row, units)
        if limit is None:
            continue
        scope: ScopeView = scope_of_fit(row, units) if is_row_of(row, Fit) else {}
        line: PressureLimit = {"of": of, "id": row.id, "scope": scope, "limit": limit}
        if start_pa is not None:
            line["within"] = not start_pa > limit_pa * (1 + 1e-9)
        if (source := source_ref(row, sources)) is not None:
            line["source"] = source
        shown["pressure"].append(line)
    if limits.spacers is not None:
        shown["spacers"] = {"limit": limits.spacers}
        if spacers is not None:
            shown["spacers"]["within"] = spacers <= limits.spacers
    for each in limits.riders if asked.rider is not None else ():
        shown["rider_mass"] += _rider_limit(each, asked, sources, units)
    beyond = [] if start_pa is None else limits.exceeded(start_pa, spacers)
    if spacers is not None and limits.spacers is not None and spacers > limits.spacers:
        codes.append("over-spacer-limit")
    if "pressure limit" in beyond:
        codes.append("over-pressure-limit")
    if any(not line["within"] for line in shown["rider_mass"]):
        codes.append("over-rider-mass-limit")
    shown["text"] = _text_of_coil(codes) if is_coil else _text(limits, start_pa, band_high_pa, codes)
    return shown, codes


def _rider_limit(
    each: Applicable[Limit], asked: Circumstances, sources: dict[str, Source], units: Units
) -> list[RiderLimit]:
    row = each.statement
    limit = figure(row, "mass", None, row.unit, units, minimum="min", maximum="max")
    if limit is None:
        return []
    within = not over_rider(each, asked)
    line: RiderLimit = {"id": row.id, "scope": scope_view(row, units), "limit": limit, "within": within}
    if (source := source_ref(row, sources)) is not None:
        line["source"] = source
    return [line]


def _text_of_coil(codes: list[str]) -> str:
    return "The rider is above the limit." if "over-rider-mass-limit" in codes else "A coil has no fill pressure."


def _text(limits: KeptLimits, start_pa: float | None, band_high_pa: float | None, codes: list[str]) -> str:
    compared = (
        "The maximum fill pressure is a gauge pressure at full extension; the start pressure is compared with it."
    )
    if "over-pressure-limit" in codes:
        return f"{compared} The start pressure is above it: do not ride this set-up."
    if limits.pressure_pa is None:
        return f"{compared} No maximum is stated. That does not mean that any pressure is permitted."
    if start_pa is None:
        return compared
    if band_high_pa is not None and limits.over_pressure(band_high_pa):
        return f"{compared} The start pressure is below it, but its band reaches above: never fill above the maximum."
    return f"{compared} The start pressure is within it."


def limit_gaps(limits: KeptLimits) -> list[Gap]:
    """The limits that the catalogue does not state for an air spring."""
    missing: list[Gap] = []
    if limits.spacers is None:
        missing.append(
            {
                "what": "spacer-limit",
                "why_needed": "too many volume spacers damage the spring",
                "text": "The catalogue does not give the maximum number of volume spacers.",
            }
        )
    if limits.pressure_pa is None:
        missing.append(
            {
                "what": "pressure-limit",
                "why_needed": "the fill pressure must not exceed it",
                "text": "The catalogue does not give the maximum fill pressure.",
            }
        )
    return missing
