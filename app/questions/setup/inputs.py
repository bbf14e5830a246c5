"""The inputs of a set-up: its one fit, the guide rows for the rider, the wanted sag.

If several fits remain, it names what would decide and chooses none.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from fractions import Fraction
from typing import Any, Literal

from app.catalogue.agreement import kilograms
from app.catalogue.columns import write_number
from app.catalogue.tables import Adjustment, AirChamber, Fit, Guide, Reading, Spacer, Spring, SpringChamber
from app.errors import Invalid
from app.physics.band import Band
from app.questions.configuration.prevailing import Applicable, undecided
from app.questions.configuration.region import Region
from app.questions.setup.parameters import Circumstances, si
from app.questions.setup.spring_geometry import SpringGeometry
from app.questions.sheet.gather import Sheet, by_mass
from app.units.convert import half_last_digit
from app.units.measure import Measure
from app.units.quantity import figure_to_set

GEAR_KG = (Fraction(3), Fraction(8))  # mass of the rider's clothes and gear; common practice, no source
USUAL_SAG_PERCENT = 20.0  # common practice, no source: a general starting point between 15 and 25 %

Open = dict[str, list[str | int | float]]


@dataclass(slots=True)
class Chosen:
    """The one fit, or the coil springs to choose a rate from, or the candidates and the open parameters."""

    fit: Applicable[Fit] | None
    coils: list[Applicable[Fit]]
    undecided: Open
    candidates: list[Applicable[Fit]] = field(default_factory=list)


def chosen_fit(found: Sheet) -> Chosen:
    """The one fit for these parameters. Fits count as one if they differ in nothing that a set-up depends on."""
    groups = list({_depends_on(each.statement): each for each in reversed(found.fits)}.values())[::-1]
    if len(groups) == 1:
        best = next((each for each in found.fits if each.surely), groups[0])
        coils = [best] if _is_coil(best, found) else []
        return Chosen(best, coils, {} if _together_sure(found) else _open(found, found.fits))
    travels = sorted({each.statement.travel_mm for each in found.fits})
    springs = sorted({each.statement.spring for each in found.fits})
    open_parameters = _open(found, found.fits)
    if len(travels) == 1 and found.fits and all(_is_coil(each, found) for each in found.fits):
        by_spring = list({each.statement.spring: each for each in reversed(found.fits)}.values())[::-1]
        return Chosen(None, by_spring, {} if _together_sure(found) else open_parameters)
    if len(travels) > 1:
        open_parameters.setdefault("travel", [*travels])
    if len(springs) > 1:
        open_parameters.setdefault("spring", [*springs])
    return Chosen(None, [], open_parameters, groups)


def _depends_on(fit: Fit) -> tuple[object, ...]:
    return (
        fit.spring, fit.travel_mm, fit.travel_spacers or 0, fit.spacer, fit.spacer_limit, fit.spacers_fitted,
        fit.pressure_limit, fit.pressure_unit,
    )  # fmt: skip


def _is_coil(each: Applicable[Fit], found: Sheet) -> bool:
    spring = found.springs.get(each.statement.spring)
    return spring is not None and spring.kind == "coil"


def _open(found: Sheet, shown: Iterable[Applicable[Any]], where: Region | None = None) -> Open:
    where = where or found.where
    return undecided(shown, where, found.context.choices(where, found.offered))


def _together_sure(found: Sheet) -> bool:
    """Whether the fits of each spring are complete together: one for each possible wheel, damper or variant."""
    by_spring: dict[str, list[Applicable[Fit]]] = {}
    for each in found.fits:
        by_spring.setdefault(each.statement.spring, []).append(each)
    return all(_cover(fits, found) for fits in by_spring.values())


def _cover(fits: Sequence[Applicable[Fit]], found: Sheet) -> bool:
    if any(each.surely for each in fits):
        return True
    dimensions = {tuple(each.open_in) for each in fits}
    if len(dimensions) != 1 or len(fits[0].open_in) != 1:
        return False
    dimension = fits[0].open_in[0]
    every: frozenset[object] | None = {
        "wheel_size": found.where.wheel_sizes,
        "damper": found.where.dampers,
    }.get(dimension)
    return every is not None and every <= {value for each in fits for value in getattr(each.scope, dimension) or ()}


def narrowed(found: Sheet, travel_mm: float, springs: frozenset[str]) -> Region:
    """The region once the fit is known: its travel and its spring."""
    return replace(found.where, travel=(travel_mm, travel_mm), springs=springs)


def guides_in(found: Sheet, where: Region) -> list[Applicable[Guide]]:
    """The guide rows that may apply in a region."""
    if where == found.where:
        return found.guides
    return sorted(found.context.prevailing(found.listed_guides, where), key=by_mass)


def adjustments_in(found: Sheet, where: Region) -> list[Applicable[Adjustment]]:
    """The adjustments of guides that may apply in a region."""
    if where == found.where:
        return found.adjustments
    return found.context.prevailing(found.listed_adjustments, where)


def readings_in(found: Sheet, where: Region) -> list[Applicable[Reading]]:
    """The catalogue's readings that surely apply in a region."""
    shown = found.readings
    if where != found.where:
        shown = found.context.prevailing(found.listed_readings, where)
    return [each for each in shown if each.surely]


@dataclass(frozen=True, slots=True)
class ForRider:
    """The guide rows for a rider's mass: those that apply, and those that may, because their masses exclude gear."""

    sure: tuple[Applicable[Guide], ...]
    maybe: tuple[Applicable[Guide], ...]

    @property
    def all(self) -> tuple[Applicable[Guide], ...]:
        """The rows that apply to the rider, the sure ones first."""
        return (*self.sure, *self.maybe)


def for_rider(guides: Iterable[Applicable[Guide]], rider: Measure | None) -> ForRider:
    """The rows whose half-open mass bracket contains the rider.

    A row for masses without gear applies if 3 to 8 kg of gear always leave the rider in the bracket; a row that does
    not say counts as with gear.
    """
    sure: list[Applicable[Guide]] = []
    maybe: list[Applicable[Guide]] = []
    for each in guides:
        verdict = _bracket(each.statement, rider)
        if verdict == "in":
            sure.append(each)
        elif verdict == "maybe":
            maybe.append(each)
    return ForRider(tuple(sure), tuple(maybe))


def _bracket(guide: Guide, rider: Measure | None) -> Literal["in", "maybe", "out"]:
    low = kilograms(guide.rider_mass_from, guide.mass_unit)
    high = kilograms(guide.rider_mass_to, guide.mass_unit)
    if low is None and high is None:
        return "in"
    if rider is None:
        return "out"
    mass = Fraction(rider.value)
    least, most = (mass - GEAR_KG[1], mass - GEAR_KG[0]) if guide.mass_is == "without" else (mass, mass)
    inside = [(low is None or low <= end) and (high is None or end < high) for end in (least, most)]
    if all(inside):
        return "in"
    between = (low is None or low <= most) and (high is None or least < high)
    return "maybe" if between and guide.mass_is == "without" else "out"


def for_air(guide: Guide, chamber: AirChamber = "positive") -> bool:
    """Whether a guide row gives a start pressure for a chamber; one that names none is for the positive chamber."""
    given = (guide.pressure, guide.pressure_min, guide.pressure_max)
    return (
        (guide.chamber or "positive") == chamber
        and guide.pressure_unit is not None
        and any(each is not None for each in given)
    )


def words_only(guides: ForRider) -> Applicable[Guide] | None:
    """The row that has words in place of a figure for this rider, such as “ask the maker”."""
    return next((each for each in guides.sure if _is_words_only(each.statement)), None)


def _is_words_only(guide: Guide) -> bool:
    figures = (guide.pressure, guide.pressure_min, guide.pressure_max, guide.spring_choice)
    return guide.instruction is not None and all(each is None for each in figures)


@dataclass(frozen=True, slots=True)
class StatedSag:
    """The sag that a guide states, in percent: a figure, a range or both."""

    value: Decimal | None
    low: Decimal | None
    high: Decimal | None

    @property
    def has_range(self) -> bool:
        """Whether the guide gives an end of a range."""
        return self.low is not None or self.high is not None

    @property
    def figure(self) -> Decimal:
        """The figure to go by: the value, else the middle of the range, else its one end."""
        return figure_to_set(self.value, self.low, self.high)

    @property
    def ends(self) -> tuple[float, float]:
        """The lowest and highest sag that it can mean, to half of the last digit."""
        low = self.figure if self.low is None else self.low
        high = self.figure if self.high is None else self.high
        return float(low - half_last_digit(low)), float(high + half_last_digit(high))


def stated_sag(guide: Guide) -> StatedSag | None:
    """The sag of a guide row, or None if it states none."""
    found = guide.sag_percent, guide.sag_min_percent, guide.sag_max_percent
    return None if found == (None, None, None) else StatedSag(*found)


@dataclass(frozen=True, slots=True)
class Target:
    """The wanted sag, and its origin; `stated` is what the guide says."""

    sag_m: float
    percent: float
    wanted_by: Literal["asked", "guide", "usual"]
    stated: StatedSag | None = None


def target(asked: Circumstances, guides: Iterable[Guide], travel_mm: float) -> Target:
    """The sag asked for, else the one that all guide rows for the rider state, else the usual one.

    Raises Invalid for a length that cannot be a sag of this travel.
    """
    travel_m = travel_mm / 1000
    if asked.sag is not None and asked.sag.kind == "length":
        sag_m = si(asked.sag)
        if not 0.05 * travel_m - 1e-12 <= sag_m <= 0.6 * travel_m + 1e-12:
            text = f"sag must be between {travel_mm * 0.05:g} and {travel_mm * 0.6:g} mm for {travel_mm:g} mm of travel"
            nearest = travel_mm * (0.05 if sag_m < 0.05 * travel_m else 0.6)
            raise Invalid.one("out-of-range", text, parameter="sag", suggestion=f"{write_number(nearest)}mm")
        return Target(sag_m, sag_m / travel_m * 100, "asked")
    if asked.sag is not None:
        percent = si(asked.sag) * 100
        return Target(percent / 100 * travel_m, percent, "asked")
    stated = {sag for guide in guides if (sag := stated_sag(guide)) is not None}
    if len(stated) == 1:
        sag = stated.pop()
        percent = float(sag.figure)
        return Target(percent / 100 * travel_m, percent, "guide", sag)
    return Target(USUAL_SAG_PERCENT / 100 * travel_m, USUAL_SAG_PERCENT, "usual")


def same_sag(guide: Guide, wanted: Target) -> bool:
    """Whether a guide row is for the wanted sag, to within half of its last digit; any sag within a range is.

    A row that states no sag applies only if no sag was asked for.
    """
    stated = stated_sag(guide)
    if stated is None:
        return wanted.wanted_by != "asked"
    low, high = stated.ends
    return low - 1e-9 <= wanted.percent <= high + 1e-9


def guide_rows(guides: ForRider, target: Target, chamber: AirChamber = "positive") -> list[Guide]:
    """The guide rows that give this rider a chamber pressure for the wanted sag; none unless one surely applies."""
    rows = [
        each for each in guides.sure if for_air(each.statement, chamber) and same_sag(each.statement, target)
    ]  # fmt: skip
    return [each.statement for each in rows] if all(each.surely for each in rows) else []


def valves_of(spring: Spring, chambers: Iterable[SpringChamber]) -> list[AirChamber]:
    """The chambers of an air spring that are filled at a valve of their own."""
    second = any(each.chamber == "second positive" and each.valve != "port" for each in chambers)
    has: dict[AirChamber, bool] = {
        "positive": True, "second positive": second, "negative": spring.negative == "own valve",
    }  # fmt: skip
    return [name for name, valve in has.items() if valve]


def spacer_of(found: Sheet, fit: Fit) -> Spacer | None:
    """The volume spacer a fit takes."""
    return None if fit.spacer is None else found.spacers.get(fit.spacer)


def spring_of(found: Sheet, fit: Fit) -> Spring | None:
    """The spring of a fit, or None if its row is not there."""
    return found.springs.get(fit.spring)


@dataclass(frozen=True, slots=True)
class SetupInputs:
    """Everything that a start pressure may be found from, for one fit.

    `spacers` is None if the count is unknown, `load` and `pushed` (the load with friction) if the rider is,
    `negative_pa` (gauge) if the negative chamber has no valve or its pressure is unknown. `added` are the adjustments
    that a guide row contains.
    """

    fit: Fit
    spring: Spring
    spacer: Spacer | None
    spacers: int | None
    asked: Circumstances
    guides: ForRider
    readings: tuple[Applicable[Reading], ...]
    target: Target
    load: Band | None
    pushed: Band | None
    ambient_pa: float
    negative_pa: float | None = None
    chambers: tuple[SpringChamber, ...] = ()
    geometries: tuple[SpringGeometry, ...] = ()
    added: Mapping[str, Sequence[Adjustment]] = field(default_factory=dict)

    @property
    def scales_together(self) -> bool:
        """Whether the whole spring scales with one pressure: it has a single valve and no negative coil."""
        return len(valves_of(self.spring, self.chambers)) == 1 and self.spring.negative != "coil"

    @property
    def load_n(self) -> float | None:
        """The load along the fork, or None."""
        return None if self.load is None else self.load.value

    @property
    def geometry(self) -> SpringGeometry | None:
        """The best-known geometry, or None."""
        return self.geometries[0] if self.geometries else None
