"""Physics of fluids: viscosities and densities that occur, and no more oil than a leg has room for."""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal

from app.catalogue.tables import Fill, Fluid
from app.rules.bands import figure
from app.rules.checks.envelope import FORM
from app.rules.registry import Hit, edit, rule
from app.rules.view import Family, RowView

DENSITY = (Decimal("0.7"), Decimal("1.2"))  # g/mL at 15 °C: mineral and synthetic oils; common practice, no source
VISCOSITY_40 = (Decimal("1.98"), Decimal(3520))  # mm²/s: the ends of the classes of ISO 3448


@rule(
    "viscosity-rises",
    shape="row",
    tables=(Fluid,),
    silenced_by=FORM,
    passes=edit("fluids", "oil-bath", viscosity_100_cst="99"),
    fails=edit("fluids", "oil-bath", viscosity_100_cst="100"),
)
def viscosity_rises(view: RowView, today: date) -> Iterator[Hit]:
    """An oil is said to be no thinner at 100 °C than at 40 °C.

    Every liquid lubricant thins as it warms (ASTM D341); the two cells were exchanged.

    Mend: compare both viscosities with the data sheet.
    """
    cold, warm = view.row.__dict__["viscosity_40_cst"], view.row.__dict__["viscosity_100_cst"]
    if cold is not None and warm is not None and warm >= cold:
        yield Hit(view.row, "viscosity_100_cst", f"{warm} cSt at 100 °C, {cold} cSt at 40 °C")


@rule(
    "fluid-implausible",
    shape="row",
    tables=(Fluid,),
    silenced_by=(*FORM, "viscosity-rises"),
    passes=edit("fluids", "oil-bath", density_15_g_per_ml="1.2"),
    fails=edit("fluids", "oil-bath", density_15_g_per_ml="1.21"),
)
def fluid_implausible(view: RowView, today: date) -> Iterator[Hit]:
    """A density or viscosity is not that of any oil, or an oil has the grade of a grease.

    Stand-ins are chosen by these figures; a digit slipped would recommend the wrong oil.

    Mend: compare the figures with the data sheet: density in g/mL, viscosity in cSt (mm²/s), NLGI for greases only.
    """
    row = view.row
    assert isinstance(row, Fluid)
    density, viscosity = row.density_15_g_per_ml, row.viscosity_40_cst
    if density is not None and not DENSITY[0] <= density <= DENSITY[1]:
        yield Hit(row, "density_15_g_per_ml", f"{density} g/mL is not within {DENSITY[0]} to {DENSITY[1]} g/mL")
    elif viscosity is not None and not VISCOSITY_40[0] <= viscosity <= VISCOSITY_40[1]:
        yield Hit(row, "viscosity_40_cst", f"{viscosity} cSt is outside the classes of ISO 3448")
    elif row.nlgi is not None and row.kind in ("damper oil", "bath oil"):
        yield Hit(row, "nlgi", f"a {row.kind} has no NLGI grade")


@rule(
    "oil-above-leg-volume",
    shape="family",
    silenced_by=(*FORM, "fill-outside-band"),
    passes=edit("chassis", "fork-a", leg_free_volume_ml="12"),
    fails=edit("chassis", "fork-a", leg_free_volume_ml="11.9"),
)
def oil_above_leg_volume(family: Family, today: date) -> Iterator[Hit]:
    """More bath oil is filled into a lower leg than it has room for at full compression.

    Oil does not give way: the fork locks before the end of its travel and bursts a seal.

    Mend: compare the volume, its unit and the free volume of the leg with the pages.
    """
    for row in family.of(Fill):
        room = family.chassis[row.chassis].leg_free_volume_ml
        if room is None or not row.chamber.endswith("lower leg"):
            continue
        for name in ("max", "value", "min"):
            volume = figure(row.__dict__[name], row.unit, "volume", "mL")
            if volume is not None:
                if volume > float(room):
                    yield Hit(row, name, f"{volume:.3g} mL; the leg has room for {room} mL")
                break
