"""The claims of sources about scopes: fits, torques, fills and the rest. Descriptions only."""

from typing import ClassVar, Literal

from app.catalogue.columns import Integer, Number, Published, Slug, Text, column
from app.catalogue.tables.entities import Chamber, Job
from app.catalogue.tables.row import Claim, ScopedRow, TravelScopedRow


class Statement(Claim, ScopedRow):
    """A claim about a chassis within a scope. `about` names the columns about which two statements can contradict."""

    about: ClassVar[tuple[str, ...]]

    chassis: Slug = column("the chassis", to="chassis", required=True)


class Fit(Statement, table=True):
    """Which spring gives which travel in which chassis."""

    table: ClassVar[str] = "fits"
    about: ClassVar[tuple[str, ...]] = ("chassis", "spring", "travel_spacers")
    wider_index = (
        "ix_fits_offers",  # what a chassis offers, and which of it in which years, is in the index alone
        ("chassis", "spring", "travel_mm", "model_year_from", "model_year_to", "revision_from", "revision_to"),
    )

    spring: Slug = column("the spring assembly", to="springs", required=True)
    travel_mm: Number = column("the travel it gives", unit="mm", example="150", required=True)
    travel_spacer: Slug | None = column("the travel spacer that sets it", to="parts")
    travel_spacers: Integer | None = column("how many travel spacers", positive=False, absent=0)
    axle_to_crown_mm: Published | None = column("axle-to-crown at this travel", unit="mm", example="546.1")
    spacer: Slug | None = column("the volume spacer it takes", to="spacers")
    spacer_limit: Integer | None = column("most volume spacers it may carry", example="4", positive=False)
    spacers_fitted: Integer | None = column("volume spacers from the factory", example="1", positive=False)
    pressure_limit: Published | None = column(
        "maximum fill pressure: gauge, at full extension",
        unit_column="pressure_unit",
        measures="pressure",
        example="160",
    )
    pressure_unit: Text | None = column("unit of the pressure limit", measures="pressure", example="psi")


class Torque(Statement, TravelScopedRow, table=True):
    """How a fastener is tightened."""

    table: ClassVar[str] = "torques"
    about: ClassVar[tuple[str, ...]] = ("chassis", "fastener", "stage")

    fastener: Slug = column("the fastener", to="fasteners", required=True)
    stage: Integer | None = column("which pass, where it is tightened in several", example="1", absent=1)
    value: Published | None = column("torque", unit_column="unit", measures="torque", example="6.8")
    min: Published | None = column("least torque", unit_column="unit", measures="torque", example="6.5")
    max: Published | None = column("greatest torque", unit_column="unit", measures="torque", example="7.5")
    unit: Text | None = column("unit of the torques", measures="torque", example="N·m")
    thread_prep: Literal["dry", "oiled", "greased", "low threadlocker", "medium threadlocker"] | None = column(
        "what is on the thread"
    )
    instruction: Text | None = column(
        "how, where a figure does not say it all", example="hand-tight, then a quarter turn"
    )
    recheck: Text | None = column("when it is checked again", example="after the first ride")


class Fill(Statement, TravelScopedRow, table=True):
    """Which oil goes where and how much."""

    table: ClassVar[str] = "fills"
    about: ClassVar[tuple[str, ...]] = ("chassis", "chamber")

    chamber: Chamber = column("where it goes", required=True)
    fluid: Slug | None = column("which oil", to="fluids")
    alternatives: Text | None = column("what the source permits instead")
    value: Published | None = column("volume", unit_column="unit", measures="volume", example="10")
    min: Published | None = column("least volume", unit_column="unit", measures="volume")
    max: Published | None = column("greatest volume", unit_column="unit", measures="volume")
    unit: Text | None = column("unit of the volumes", measures="volume", example="mL")
    level_mm: Published | None = column("oil level", unit="mm", example="95")
    level_min_mm: Published | None = column("least oil level", unit="mm")
    level_max_mm: Published | None = column("greatest oil level", unit="mm")
    level_datum: Text | None = column("from where the level is measured", example="top of the stanchion")
    level_state: Text | None = column("in which state", example="compressed, damper rod up, no spring")


class Grease(Statement, TravelScopedRow, table=True):
    """What is greased with what."""

    table: ClassVar[str] = "greases"
    about: ClassVar[tuple[str, ...]] = ("chassis", "place")

    place: Text = column("where", required=True, example="air piston seal")
    fluid: Slug | None = column("which grease", to="fluids")
    extent_mm: Published | None = column("over this length from the end", unit="mm", example="120")
    amount: Text | None = column("how much, in words", example="a thin even film")


class Use(Statement, TravelScopedRow, table=True):
    """Which parts a job takes."""

    table: ClassVar[str] = "uses"
    about: ClassVar[tuple[str, ...]] = ("chassis", "job", "part", "position")

    job: Job = column("the job", required=True)
    part: Slug = column("the part", to="parts", required=True, compared_by="kind")
    position: Text | None = column("where it goes", example="foot bolt")
    count: Integer | None = column("how many", example="2")
    when: Literal["always", "if worn", "if opened"] | None = column("when it is needed")


class Limit(Statement, TravelScopedRow, table=True):
    """What must not be exceeded."""

    table: ClassVar[str] = "limits"
    about: ClassVar[tuple[str, ...]] = ("chassis", "subject")

    subject: Text = column("what is limited", required=True, example="rotor diameter")
    min: Published | None = column("least", unit_column="unit", measures="any", positive=False)
    max: Published | None = column("greatest", unit_column="unit", measures="any", example="203")
    unit: Text | None = column("unit", measures="any", example="mm")
    method: Text | None = column("how it is measured")
    action: Text | None = column("what to do beyond it", example="replace the bushings")


class Interval(Statement, TravelScopedRow, table=True):
    """How often something is due."""

    table: ClassVar[str] = "intervals"
    about: ClassVar[tuple[str, ...]] = ("chassis", "operation", "riding")

    operation: Text = column("what is due", required=True, example="lower-leg-service")
    hours: Integer | None = column("after riding hours", unit="h", example="50")
    months: Integer | None = column("after months", unit="months", example="12")
    riding: Text | None = column("for this sort of riding", example="park")


class Guide(Statement, TravelScopedRow, table=True):
    """The published set-up for a rider."""

    table: ClassVar[str] = "guides"
    about: ClassVar[tuple[str, ...]] = ("chassis", "chamber", "rider_mass_from", "rider_mass_to", "mass_unit")

    chamber: Literal["positive", "negative", "coil"] | None = column("which chamber the pressure is for")
    rider_mass_from: Published | None = column(
        "rider from this mass", unit_column="mass_unit", measures="mass", example="70"
    )
    rider_mass_to: Published | None = column(
        "up to but not at this mass", unit_column="mass_unit", measures="mass", example="80"
    )
    mass_unit: Text | None = column("unit of the masses", measures="mass", example="kg")
    mass_is: Literal["with gear", "without", "not stated"] | None = column("whether gear is in the mass")
    pressure: Published | None = column(
        "start pressure, gauge", unit_column="pressure_unit", measures="pressure", example="72"
    )
    pressure_min: Published | None = column("least", unit_column="pressure_unit", measures="pressure")
    pressure_max: Published | None = column("greatest", unit_column="pressure_unit", measures="pressure")
    pressure_unit: Text | None = column("unit of the pressures", measures="pressure", example="psi")
    sag_percent: Published | None = column("sag it should give", unit="%", example="20")
    spring_choice: Slug | None = column("coil spring to choose", to="springs")
    rebound_clicks: Integer | None = column("rebound clicks, counted from the damper's `clicks_from`", positive=False)
    compression_clicks: Integer | None = column(
        "compression clicks, counted from the damper's `clicks_from`", positive=False
    )
    preload_turns: Published | None = column("turns of preload, inward from the least preload", positive=False)


class Reading(Statement, TravelScopedRow, table=True):
    """Something measured on a fork of this kind."""

    table: ClassVar[str] = "readings"
    about: ClassVar[tuple[str, ...]] = ("id",)

    spacers: Integer | None = column("volume spacers fitted", positive=False)
    state: Text | None = column("state of the fork", example="at sag")
    at_travel_mm: Published | None = column(
        "compression from full extension at which it was read", unit="mm", example="38", positive=False
    )
    pressure: Published | None = column(
        "gauge pressure", unit_column="pressure_unit", measures="pressure", example="72"
    )
    pressure_unit: Text | None = column("unit of the pressure", measures="pressure", example="psi")
    force: Published | None = column("force on the fork", unit_column="force_unit", measures="force")
    force_unit: Text | None = column("unit of the force", measures="force", example="N")
    direction: Literal["compressing", "extending", "mean"] | None = column("direction of movement before it was read")
    rider_mass: Published | None = column("mass of the rider with gear", unit_column="mass_unit", measures="mass")
    mass_unit: Text | None = column("unit of the mass", measures="mass", example="kg")
    temperature_c: Published | None = column("temperature", unit="°C", positive=False)
