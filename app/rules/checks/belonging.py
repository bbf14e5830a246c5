"""Belonging: a row names something of another chassis, kind or use than its own."""

from collections.abc import Iterator
from datetime import date

from app.catalogue.scopes import empty
from app.catalogue.tables import Chassis, Fastener, Fill, Grease, Guide, Torque
from app.rules.checks.envelope import FORM
from app.rules.family import Family
from app.rules.registry import Violation, edit, rule

OILS = ("damper oil", "bath oil")
BOTH = (*OILS, "grease", "assembly paste")
FLUIDS_IN: dict[str, tuple[str, ...]] = {  # common practice, no source
    "damper": ("damper oil",),
    "spring-side lower leg": OILS,
    "damper-side lower leg": OILS,
    "spring-side stanchion": OILS,
    "foam ring": OILS,
    "above the air piston": BOTH,
    "negative chamber": BOTH,
}


@rule(
    "variant-of-another-chassis",
    shape="family",
    silenced_by=FORM,
    passes=edit("limits", "limit-rider", variant="variant-a-pro"),
    fails=edit("limits", "limit-rider", variant="variant-a-old"),
)
def variant_of_another_chassis(family: Family, today: date) -> Iterator[Violation]:
    """A statement is limited to a variant of another chassis.

    No fork is both, so the statement would never be shown.

    Fix: correct the variant or the chassis.
    """
    for row in family.given("variant"):
        for id in row.variant or ():
            variant = family.all_variants.get(id)
            if variant is not None and variant.chassis != row.chassis:
                yield Violation(row, "variant", f"{variant.id} is a variant of {variant.chassis}")


@rule(
    "fitted-part-of-another-maker",
    shape="family",
    severity="warn",
    silenced_by=FORM,
    passes=edit("limits", "limit-rider", fitted_part="guard-a"),
    fails=edit("limits", "limit-rider", fitted_part="guard-other"),
)
def fitted_part_of_another_maker(family: Family, today: date) -> Iterator[Violation]:
    """A statement applies only with a part that another maker makes.

    Figures depend on parts that the fork came with or was offered with. The part probably belongs to another fork.

    Fix: name the part of this fork; if the source says so, leave it.
    """
    for row in family.given("fitted_part"):
        part = family.parts.get(row.fitted_part or "")
        if part is not None and part.maker is not None and part.maker != family.maker:
            yield Violation(row, "fitted_part", f"{part.id} is made by {part.maker}")


@rule(
    "fastener-elsewhere",
    shape="family",
    tables=(Torque,),
    beside=(Fastener,),
    silenced_by=FORM,
    passes=edit("torques", "torque-new", chassis="fork-a", fastener="foot-spring", value="7.0", unit="N·m",
                source="bulletin-a", page="2"),
    fails=edit("torques", "torque-new", chassis="fork-a", fastener="foot-spring-old", value="7.0", unit="N·m",
               source="bulletin-a", page="2"),
)  # fmt: skip
def fastener_elsewhere(family: Family, today: date) -> Iterator[Violation]:
    """A torque is for a fastener of another chassis, spring, damper or year.

    The bolt of another fork may look the same and take only half the torque.

    Fix: name the fastener of this chassis, or correct the scope of the torque or of the fastener.
    """
    for row in family.of(Torque):
        fastener = family.fasteners.get(row.fastener)
        if fastener is None:
            continue
        own = {"chassis": (row.chassis,), "spring": row.spring and (row.spring,), "damper": row.damper}
        for column, named in own.items():
            of = getattr(fastener, column)
            if of is not None and named and set(named) != {of}:
                yield Violation(row, "fastener", f"{fastener.id} belongs to {column} {of}")
                break
        else:
            first, last = fastener.model_year_from, fastener.model_year_to
            scope = family.scope(row)
            outside = (first is not None and first > scope.year_to) or (last is not None and last < scope.year_from)
            if outside and not empty(scope):
                yield Violation(row, "fastener", f"{fastener.id} was fitted in other years")


@rule(
    "fluid-of-another-use",
    shape="family",
    tables=(Fill, Grease),
    silenced_by=FORM,
    passes=edit("fills", "fill-damper", fluid="oil-damper"),
    fails=edit("fills", "fill-damper", fluid="oil-bath"),
)
def fluid_of_another_use(family: Family, today: date) -> Iterator[Violation]:
    """A row names an oil for a grease job, a grease for an oil fill, or a bath oil inside a damper.

    A damper filled with bath oil hardly moves. A seal greased with damper oil runs dry.

    Fix: name the fluid the source prints for this place, or correct the kind of the fluid.
    """
    for row in family.of(Fill) if Fill in family.judged else ():
        fluid = None if row.amount == "greased" else family.fluids.get(row.fluid or "")
        if fluid is not None and fluid.kind not in FLUIDS_IN[row.chamber]:
            usual = " or ".join(FLUIDS_IN[row.chamber])
            yield Violation(
                row, "fluid", f"{fluid.id} is a {fluid.kind}; {row.chamber} takes {usual}",
                nature="implausible" if row.chamber.endswith("leg") and fluid.kind not in OILS else "impossible",
            )  # fmt: skip
        elif fluid is not None and fluid.kind == "damper oil" and _is_odd_oil(family, row):
            text = f"{fluid.id} is a damper oil; the other leg takes bath oil"
            yield Violation(row, "fluid", text, severity="warn", nature="advice")
    for grease in family.of(Grease) if Grease in family.judged else ():
        fluid = family.fluids.get(grease.fluid or "")
        if fluid is not None and fluid.kind == "damper oil":
            yield Violation(grease, "fluid", f"{fluid.id} is a {fluid.kind}, not a grease")


@rule(
    "greased-with-oil",
    shape="family",
    tables=(Fill,),
    silenced_by=FORM,
    passes=edit("fills", "fill-spring-leg-b", amount="greased", fluid="grease-a", value="", unit=""),
    fails=edit("fills", "fill-spring-leg-b", amount="greased", fluid="oil-bath", value="", unit=""),
)
def greased_with_oil(family: Family, today: date) -> Iterator[Violation]:
    """A chamber is greased, but the fluid of the row is an oil.

    A mechanic would look for a grease by the name of an oil, or pour oil into a leg that takes none.

    Fix: name the grease, or clear the amount if the chamber is filled with oil.
    """
    for row in family.of(Fill):
        fluid = family.fluids.get(row.fluid or "")
        if row.amount == "greased" and fluid is not None and fluid.kind in OILS:
            yield Violation(row, "fluid", f"{fluid.id} is a {fluid.kind}, not a grease")


def _is_odd_oil(family: Family, row: Fill) -> bool:
    """True for damper oil away from the damper, if another leg takes bath oil; old forks use fork oil in both legs."""
    if row.exception_to is not None or _near_damper(family, row):
        return False
    for other in family.of(Fill):
        if other is not row and other.chassis == row.chassis and other.chamber.endswith(("leg", "foam ring")):
            fluid = family.fluids.get(other.fluid or "")
            if fluid is not None and fluid.kind == "bath oil":
                return True
    return False


def _near_damper(family: Family, row: Fill) -> bool:
    """True in a damper, and in a leg that may share its oil with an open bath damper."""
    if row.chamber == "damper":
        return True
    dampers = [family.dampers.get(name) for name in family.dampers_of(row)]
    open_bath = not dampers or any(damper is None or damper.kind in (None, "open bath") for damper in dampers)
    return row.chamber == "damper-side lower leg" and open_bath


@rule(
    "guide-for-another-spring",
    shape="family",
    tables=(Guide,),
    silenced_by=FORM,
    passes=edit("guides", "guide-coil", spring_choice=""),
    fails=edit("guides", "guide-coil", pressure="72", pressure_unit="psi"),
)
def guide_for_another_spring(family: Family, today: date) -> Iterator[Violation]:
    """A guide gives an air pressure for a coil, a coil for an air spring, or chooses a spring that is not a coil.

    A mechanic would look for a valve or a coil that is not there.

    Fix: correct the chamber, the spring or the spring to choose.
    """
    for row in family.of(Guide):
        spring = family.springs.get(row.spring or "")
        chosen = family.springs.get(row.spring_choice or "")
        if chosen is not None and chosen.kind != "coil":
            yield Violation(row, "spring_choice", f"{chosen.id} is not a coil")
        elif spring is not None and row.chamber is not None and (row.chamber == "coil") != (spring.kind == "coil"):
            yield Violation(row, "chamber", f"{spring.id} is a spring of kind {spring.kind}")
        elif row.pressure is not None and (row.chamber == "coil" or (spring is not None and spring.kind == "coil")):
            yield Violation(row, "pressure", "a coil takes no pressure")


@rule(
    "generations-overlap",
    shape="family",
    severity="warn",
    tables=(Chassis,),
    silenced_by=FORM,
    passes=edit("chassis", "fork-a-old", model_year_to="2021"),
    fails=edit("chassis", "fork-a-old", model_year_to="2022"),
)
def generations_overlap(family: Family, today: date) -> Iterator[Violation]:
    """Two chassis with the same maker and name share model years and look alike.

    The model year then does not tell you which of the two is on the bench.

    Fix: correct the years, or add what distinguishes them: marks, wheel sizes, crowns, stanchions or hub spacings.
    """
    chassis = sorted(family.chassis.values(), key=lambda each: each.id)
    for index, one in enumerate(chassis):
        for other in chassis[:index]:
            if _share_years(one, other) and _alike(one, other):
                yield Violation(
                    one, "model_year_from", f"{other.id} has the same name in the same years", other, mutual=True
                )


def _share_years(a: Chassis, b: Chassis) -> bool:
    if None in (a.model_year_from, a.model_year_to, b.model_year_from, b.model_year_to):
        return False
    return max(a.model_year_from or 0, b.model_year_from or 0) <= min(a.model_year_to or 0, b.model_year_to or 0)


def _alike(a: Chassis, b: Chassis) -> bool:
    """True if nothing visible or measurable differs between two forks, as far as both state it."""
    for name in ("crowns", "stanchion_diameter_mm", "marks"):
        here, there = getattr(a, name), getattr(b, name)
        if here is not None and there is not None and here != there:
            return False
    for name in ("wheel_sizes", "hub_spacings_mm", "axle_diameters_mm"):
        here, there = getattr(a, name), getattr(b, name)
        if here is not None and there is not None and not set(here) & set(there):
            return False
    return True
