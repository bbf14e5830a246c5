"""Envelope: pressures, spacers, strokes and clicks beyond the limits of the spring, the damper or the fit."""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from fractions import Fraction

from app.catalogue.agreement import pascals, same_figure
from app.catalogue.tables import Fit, Guide, Spring
from app.rules.checks.envelope import FORM
from app.rules.family import Family
from app.rules.registry import Violation, edit, rule
from app.rules.view import RowView

SURELY = 0.999 / 1000  # kPa for each Pa of a limit: rounding cannot lift a pressure below this over the limit


@rule(
    "pressure-limit-above-spring",
    shape="family",
    tables=(Fit,),
    silenced_by=(*FORM, "pressure-implausible"),
    passes=edit("fits", "fit-150", pressure_limit="160"),
    fails=edit("fits", "fit-150", pressure_limit="161"),
)
def pressure_limit_above_spring(family: Family, today: date) -> Iterator[Violation]:
    """A fit allows a higher fill pressure than its spring does.

    It is the spring that bursts. A fit can only lower its limit.

    Fix: check both limits and their units against the pages.
    """
    for row in family.of(Fit):
        spring = family.springs.get(row.spring)
        if spring is None or row.pressure_limit is None:
            continue
        allowed, stated = (
            pascals(spring.pressure_limit, spring.pressure_unit),
            pascals(row.pressure_limit, row.pressure_unit),
        )
        if allowed is not None and stated is not None and stated > allowed and not same_pressure(row, spring):
            text = f"{row.pressure_limit} {row.pressure_unit}; {spring.id} is limited to "
            yield Violation(row, "pressure_limit", text + f"{spring.pressure_limit} {spring.pressure_unit}", spring)


@rule(
    "spacers-fitted-above-limit",
    shape="row",
    tables=(Fit,),
    silenced_by=FORM,
    reads=("spacers_fitted", "spacer_limit"),
    passes=edit("fits", "fit-150", spacers_fitted="4", as_printed="4 fitted, 4 at most"),
    fails=edit("fits", "fit-150", spacers_fitted="5"),
)
def spacers_fitted_above_limit(view: RowView, today: date) -> Iterator[Violation]:
    """More volume spacers are fitted at the factory than the fit allows.

    The two cells were probably swapped, and the wrong limit would be followed.

    Fix: check both counts against the page.
    """
    fitted, limit = view.row["spacers_fitted"], view.row["spacer_limit"]
    if fitted is not None and limit is not None and fitted > limit:
        yield Violation(view.row, "spacers_fitted", f"{fitted} are fitted but at most {limit} are allowed")


@rule(
    "guide-pressure-above-limit",
    shape="family",
    tables=(Guide,),
    beside=(Fit,),
    silenced_by=(*FORM, "pressure-implausible"),
    passes=edit("guides", "guide-90", pressure_max="160"),
    fails=edit("guides", "guide-90", pressure_max="161"),
)
def guide_pressure_above_limit(family: Family, today: date) -> Iterator[Violation]:
    """A set-up guide gives more pressure than any spring it can apply to allows.

    Start pressures and limits are both gauge pressures at full extension. If you follow the guide, you exceed the
    limit.

    Fix: check the pressure, the limit and their units against the pages.
    """
    for row in family.of(Guide):
        floor = family.least_limit.get(row.chassis)
        pressure = family.guide_figures[row.id].pressure
        if row.pressure_max is None and (pressure is None or (floor is not None and pressure < floor * SURELY)):
            continue
        figures = (pascals(row.pressure, row.pressure_unit), pascals(row.pressure_max, row.pressure_unit))
        asked = max((each for each in figures if each), default=None)
        if asked is None or row.chamber == "negative":
            continue
        limits = list(_limits(family, row))
        column = "pressure_max" if row.pressure_max is not None else "pressure"
        least = _rounded_down(row[column], row.pressure_unit)
        if limits and None not in limits and least > max(limit for limit in limits if limit is not None):
            greatest = float(max(limit for limit in limits if limit is not None)) / 1000
            text = f"{row[column]} {row.pressure_unit} is above the maximum fill pressure of every spring it "
            yield Violation(row, column, text + f"can apply to, {greatest:.0f} kPa at most")


def _rounded_down(printed: Decimal, unit: str | None) -> Fraction:
    """The lowest pressure, in pascals, that rounds to the printed figure."""
    exponent = printed.as_tuple().exponent
    step = Decimal(5).scaleb((exponent if isinstance(exponent, int) else 0) - 1)
    return pascals(printed - step, unit) or Fraction(0)


def same_pressure(one: Fit | Spring, other: Fit | Spring) -> bool:
    """True when two pressure limits agree within the last printed digit of each."""
    return same_figure("pressure", (one.pressure_limit, one.pressure_unit), (other.pressure_limit, other.pressure_unit))


def _limits(family: Family, guide: Guide) -> Iterator[Fraction | None]:
    """The limit of every fit the guide can be about (None if not stated), or of its spring if there is no fit."""
    fits = family.air_fits_of(guide)
    for fit, spring in fits:
        own = pascals(fit.pressure_limit, fit.pressure_unit)
        yield own if own is not None else pascals(spring.pressure_limit, spring.pressure_unit)
    if not fits and guide.spring is not None and guide.spring in family.springs:
        named = family.springs[guide.spring]
        yield pascals(named.pressure_limit, named.pressure_unit)


@rule(
    "stroke-below-travel",
    shape="family",
    tables=(Fit,),
    silenced_by=(*FORM, "travel-outside-chassis"),
    passes=edit("springs", "spring-150", stroke_max_mm="150"),
    fails=edit("springs", "spring-150", stroke_max_mm="149.5"),
)
def stroke_below_travel(family: Family, today: date) -> Iterator[Violation]:
    """A fit gives more travel than the stroke of its spring.

    The spring would bottom out before the fork does.

    Fix: check the travel of the fit and the maximum stroke of the spring against the pages.
    """
    for row in family.of(Fit):
        spring = family.springs.get(row.spring)
        if spring is not None and spring.stroke_max_mm is not None and row.travel_mm > spring.stroke_max_mm:
            yield Violation(row, "travel_mm", f"{spring.id} has a stroke of {spring.stroke_max_mm} mm at most")


@rule(
    "damper-travel-below-fit",
    shape="family",
    tables=(Fit,),
    silenced_by=(*FORM, "travel-outside-chassis", "damper-not-of-chassis"),
    passes=edit("dampers", "damper-a", travel_max_mm="160"),
    fails=edit("dampers", "damper-a", travel_max_mm="159"),
)
def damper_travel_below_fit(family: Family, today: date) -> Iterator[Violation]:
    """A fit gives more travel than its dampers allow, or than one of its possible dampers allows.

    The damper would be pulled or pushed beyond its stroke.

    Fix: check the travel of the fit and the maximum travel of the damper against the pages; name the damper in the fit
    if it is for only one of several.
    """
    for row in family.of(Fit):
        names = family.dampers_of(row)
        greatest = [None if (each := family.dampers.get(name)) is None else each.travel_max_mm for name in names]
        known = [each for each in greatest if each is not None]
        if known and len(known) == len(greatest) and row.travel_mm > max(known):
            yield Violation(row, "travel_mm", f"{', '.join(names)} allow {max(known):g} mm at most")
        elif known and row.travel_mm > min(known):
            text = f"it names no damper, and one of {', '.join(names)} allows only {min(known):g} mm"
            yield Violation(row, "travel_mm", text, severity="warn")


CLICKS = {
    "rebound_clicks": ("rebound_clicks", "rebound_clicks_min", "rebound_clicks_max"),
    "compression_clicks": ("compression_clicks", "compression_clicks_min", "compression_clicks_max"),
}


@rule(
    "clicks-outside-damper",
    shape="family",
    tables=(Guide,),
    silenced_by=FORM,
    passes=edit("guides", "guide-60", rebound_clicks="16"),
    fails=edit("guides", "guide-60", rebound_clicks="17"),
)
def clicks_outside_damper(family: Family, today: date) -> Iterator[Violation]:
    """A guide gives more clicks than the damper has.

    The adjuster stops before that. The guide is for another damper, or a digit is wrong.

    Fix: check the clicks against the page, or name the damper the guide is for.
    """
    clicks: dict[tuple[str, ...], dict[str, int]] = {}
    for row in family.of(Guide):
        if all(row[name] is None for names in CLICKS.values() for name in names):
            continue
        dampers = family.dampers_of(row)
        if dampers not in clicks:
            clicks[dampers] = _clicks(family, dampers)
        for adjuster, most in clicks[dampers].items():
            beyond = next((name for name in CLICKS[adjuster] if row[name] is not None and row[name] > most), None)
            if beyond is not None:
                yield Violation(row, beyond, f"the damper has {most} clicks")
                break


def _clicks(family: Family, names: tuple[str, ...]) -> dict[str, int]:
    """The highest click count of these dampers, by adjuster; left out if one of them does not state its own."""
    most: dict[str, int] = {}
    for adjuster in CLICKS:
        stated = [None if (each := family.dampers.get(name)) is None else getattr(each, adjuster) for name in names]
        if stated and None not in stated:
            most[adjuster] = max(each for each in stated if each is not None)
    return most
