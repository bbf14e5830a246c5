"""Physics of fluids: plausible viscosities and densities, and no more oil than a leg has room for."""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal

from app.catalogue.tables import Fill, Fluid, is_row_of
from app.physics.fluids import viscosity_index
from app.rules.bands import GREATEST, first_known
from app.rules.checks.envelope import FORM
from app.rules.columns import LEVELS
from app.rules.family import Family
from app.rules.registry import Violation, edit, rule
from app.rules.view import RowView

DENSITY = (Decimal("0.7"), Decimal("1.2"))  # g/mL at 15 °C: mineral and synthetic oils; common practice, no source
INDEX = (-60, 600)  # viscosity index; common practice, no source
LEAST_INDEXED = 2.0  # mm²/s at 100 °C: below this ASTM D2270 defines no index
THINNING = 4.5  # how many times thinner such a thin oil can be at 100 °C than at 40 °C; common practice, no source
VISCOSITY_40 = (Decimal("1.98"), Decimal(3520))  # mm²/s: the ends of the classes of ISO 3448


@rule(
    "viscosity-rises",
    shape="row",
    tables=(Fluid,),
    silenced_by=FORM,
    passes=edit("fluids", "oil-bath", viscosity_100_cst="20"),
    fails=edit("fluids", "oil-bath", viscosity_100_cst="100"),
)
def viscosity_rises(view: RowView, today: date) -> Iterator[Violation]:
    """An oil is listed as no thinner at 100 °C than at 40 °C.

    Every liquid lubricant thins as it warms up (ASTM D341). The two cells were swapped.

    Fix: check both viscosities against the data sheet.
    """
    cold, warm = view.row["viscosity_40_cst"], view.row["viscosity_100_cst"]
    if cold is not None and warm is not None and warm >= cold:
        yield Violation(view.row, "viscosity_100_cst", f"{warm} cSt at 100 °C, {cold} cSt at 40 °C")


@rule(
    "fluid-implausible",
    shape="row",
    nature="implausible",
    tables=(Fluid,),
    silenced_by=(*FORM, "viscosity-rises"),
    passes=edit("fluids", "oil-bath", density_15_g_per_ml="1.2"),
    fails=edit("fluids", "oil-bath", density_15_g_per_ml="1.21"),
)
def fluid_implausible(view: RowView, today: date) -> Iterator[Violation]:
    """A density or viscosity is outside the range of any oil, or an oil has the grade of a grease.

    Alternatives are chosen by these figures. One wrong digit would recommend the wrong oil.

    Fix: check the figures against the data sheet: density in g/mL, viscosity in cSt (mm²/s), NLGI for greases only.
    """
    row = view.row
    assert is_row_of(row, Fluid)
    density, viscosity = row.density_15_g_per_ml, row.viscosity_40_cst
    if density is not None and not DENSITY[0] <= density <= DENSITY[1]:
        yield Violation(row, "density_15_g_per_ml", f"{density} g/mL is not within {DENSITY[0]} to {DENSITY[1]} g/mL")
    elif viscosity is not None and not VISCOSITY_40[0] <= viscosity <= VISCOSITY_40[1]:
        yield Violation(row, "viscosity_40_cst", f"{viscosity} cSt is outside the classes of ISO 3448")
    elif row.nlgi is not None and row.kind in ("damper oil", "bath oil"):
        yield Violation(row, "nlgi", f"a {row.kind} has no NLGI grade", nature="impossible")


@rule(
    "viscosities-unlike-oil",
    shape="row",
    nature="implausible",
    tables=(Fluid,),
    silenced_by=(*FORM, "viscosity-rises", "fluid-implausible"),
    passes=edit("fluids", "oil-bath", viscosity_100_cst="7.5"),
    fails=edit("fluids", "oil-bath", viscosity_100_cst="7"),
)
def viscosities_unlike_oil(view: RowView, today: date) -> Iterator[Violation]:
    """No oil has both of these viscosities: its viscosity index would be outside -60 to 600.

    The index (ASTM D2270) is about 0 to 120 for mineral oils and below 500 for the most improved ones. A decimal point
    is in the wrong place.

    Fix: check both viscosities against the data sheet.
    """
    row = view.row
    assert is_row_of(row, Fluid)
    if row.viscosity_40_cst is None or row.viscosity_100_cst is None:
        return
    cold, warm = float(row.viscosity_40_cst), float(row.viscosity_100_cst)
    if warm >= cold:
        return
    if warm < LEAST_INDEXED:
        if cold > THINNING * warm:
            yield Violation(row, "viscosity_100_cst", f"{warm:g} cSt is too thin for an oil of {cold:g} cSt at 40 °C")
        return
    index = viscosity_index(cold / 1e6, warm / 1e6)
    if not INDEX[0] <= index <= INDEX[1]:
        yield Violation(row, "viscosity_100_cst", f"the viscosity index would be {index:.0f}")


@rule(
    "level-beyond-limit",
    shape="row",
    tables=(Fill,),
    silenced_by=FORM,
    reads=LEVELS,
    passes=edit("fills", "fill-damper", level_limit_min_mm="93"),
    fails=edit("fills", "fill-damper", level_limit_min_mm="94"),
)
def level_beyond_limit(view: RowView, today: date) -> Iterator[Violation]:
    """The recommended oil level reaches beyond its own hard limit.

    A mechanic who stays within the recommended range would still exceed the limit. Two cells were swapped.

    Fix: check the recommended levels and the hard limits against the page.
    """
    row = view.row
    assert is_row_of(row, Fill)
    for name in ("level_min_mm", "level_mm", "level_max_mm"):
        level = row[name]
        if level is None:
            continue
        if row.level_limit_min_mm is not None and level < row.level_limit_min_mm:
            yield Violation(row, name, f"{level} mm, but never less than {row.level_limit_min_mm} mm")
            return
        if row.level_limit_max_mm is not None and level > row.level_limit_max_mm:
            yield Violation(row, name, f"{level} mm, but never more than {row.level_limit_max_mm} mm")
            return


@rule(
    "oil-above-leg-volume",
    shape="family",
    tables=(Fill,),
    silenced_by=FORM,
    passes=edit("fills", "fill-spring-leg-b", value="40", as_printed="40 mL"),
    fails=edit("fills", "fill-spring-leg-b", value="40.1", as_printed="40.1 mL"),
)
def oil_above_leg_volume(family: Family, today: date) -> Iterator[Violation]:
    """A lower leg is filled with more bath oil than it has room for at full compression.

    Oil does not compress. The fork locks before the end of its travel and bursts a seal.

    Fix: check the volume, its unit and the free volume of the leg against the pages.
    """
    for row in family.of(Fill):
        room = family.chassis[row.chassis].leg_free_volume_ml
        if room is None or not row.chamber.endswith("lower leg"):
            continue
        found = first_known(row, GREATEST, "unit", "volume", "mL")
        if found is not None and found[1] > float(room):
            yield Violation(row, found[0], f"{found[1]:.3g} mL; the leg has room for {room} mL")
