"""The tables of statements that sources make about scopes: fits, torques, fills and so on. Descriptions only."""

from typing import ClassVar, Literal

from app.catalogue.columns import (
    Integer,
    Job,
    Number,
    Operation,
    PlaceWord,
    Position,
    Published,
    Slug,
    SubjectWord,
    Text,
    column,
)
from app.catalogue.tables.entities import Chamber
from app.catalogue.tables.row import Claim, ScopedRow, TravelScopedRow


class Statement(Claim, ScopedRow):
    """A statement about a chassis within a scope. `about` names the columns that identify its subject."""

    about: ClassVar[tuple[str, ...]]

    chassis: Slug = column("chassis", to="chassis", required=True)


class Fit(Statement, table=True):
    """A spring that fits a chassis, and the travel it gives."""

    table: ClassVar[str] = "fits"
    about: ClassVar[tuple[str, ...]] = ("chassis", "spring", "travel_spacers")
    wider_index = (
        "ix_fits_offers",  # The index alone answers what a chassis offers, and in which years.
        ("chassis", "spring", "travel_mm", "model_year_from", "model_year_to", "revision_from", "revision_to"),
    )

    spring: Slug = column("spring assembly", to="springs", required=True)
    travel_mm: Number = column("travel it gives", unit="mm", example="150", required=True)
    travel_spacer: Slug | None = column("travel spacer that sets this travel", to="parts")
    travel_spacers: Integer | None = column("number of travel spacers", positive=False, absent=0)
    axle_to_crown_mm: Published | None = column("axle-to-crown at this travel", unit="mm", example="546.1")
    axle_to_crown_tolerance_mm: Published | None = column(
        "how far the axle-to-crown may be off, either way", unit="mm", example="2"
    )
    spacer: Slug | None = column("volume spacer that fits", to="spacers")
    spacer_limit: Integer | None = column("maximum number of volume spacers", example="4", positive=False)
    spacers_fitted: Integer | None = column("volume spacers fitted at the factory", example="1", positive=False)
    pressure_limit: Published | None = column(
        "maximum fill pressure: gauge, at full extension",
        unit_column="pressure_unit",
        measures="pressure",
        example="160",
    )
    pressure_unit: Text | None = column("unit of the maximum pressure", measures="pressure", example="psi")


class Torque(Statement, TravelScopedRow, table=True):
    """The torque for a fastener, and how to tighten it."""

    table: ClassVar[str] = "torques"
    about: ClassVar[tuple[str, ...]] = ("chassis", "fastener", "stage", "mating_material")

    fastener: Slug = column("fastener", to="fasteners", required=True)
    stage: Integer | None = column("stage, if it is tightened in several", example="1", absent=1)
    order: Integer | None = column(
        "position in the order in which the fasteners of its group are tightened, counted through all stages",
        example="3",
    )
    mating_material: Text | None = column(
        "applies if the part that it is tightened against is of this material", example="carbon"
    )
    value: Published | None = column("torque", unit_column="unit", measures="torque", example="6.8")
    min: Published | None = column("lowest torque", unit_column="unit", measures="torque", example="6.5")
    max: Published | None = column("highest torque", unit_column="unit", measures="torque", example="7.5")
    unit: Text | None = column("unit of the torques", measures="torque", example="N·m")
    thread_prep: Literal["dry", "oiled", "greased", "low threadlocker", "medium threadlocker"] | None = column(
        "thread preparation"
    )
    instruction: Text | None = column(
        "instructions beyond the figure, or in its place", example="hand-tight, then a quarter turn"
    )
    recheck: Text | None = column("when to check it again", example="after the first ride")


class Fill(Statement, TravelScopedRow, table=True):
    """The oil for a chamber, and how much of it."""

    table: ClassVar[str] = "fills"
    about: ClassVar[tuple[str, ...]] = ("chassis", "chamber", "condition")

    chamber: Chamber = column("chamber", required=True)
    condition: Literal["as built", "refill", "new foam rings"] | None = column(
        "state of the chamber that the amount is for: dry as built, wet at a refill, or with new foam rings"
    )
    amount: Literal["filled", "none", "greased"] | None = column(
        "whether the chamber is filled, stays without oil, or is greased instead"
    )
    fluid: Slug | None = column("oil; the grease if it is greased", to="fluids")
    alternatives: Text | None = column("alternatives that the source permits")
    value: Published | None = column("volume", unit_column="unit", measures="volume", example="10")
    min: Published | None = column("smallest volume", unit_column="unit", measures="volume")
    max: Published | None = column("largest volume", unit_column="unit", measures="volume")
    unit: Text | None = column("unit of the volumes", measures="volume", example="mL")
    mass_g: Published | None = column("mass, if the oil or grease is weighed", unit="g", example="15")
    mass_min_g: Published | None = column("smallest mass", unit="g")
    mass_max_g: Published | None = column("largest mass", unit="g")
    level_mm: Published | None = column("oil level", unit="mm", example="95")
    level_min_mm: Published | None = column("lowest oil level", unit="mm")
    level_max_mm: Published | None = column("highest oil level", unit="mm")
    level_limit_min_mm: Published | None = column(
        "hard limit beyond the recommended levels: never a smaller figure", unit="mm", example="80"
    )
    level_limit_max_mm: Published | None = column(
        "hard limit beyond the recommended levels: never a larger figure", unit="mm", example="110"
    )
    level_datum: Text | None = column("point that the level is measured from", example="top of the stanchion")
    level_state: Text | None = column(
        "state of the fork when the level is measured", example="compressed, damper rod up, no spring"
    )


class Grease(Statement, TravelScopedRow, table=True):
    """The grease for a place."""

    table: ClassVar[str] = "greases"
    about: ClassVar[tuple[str, ...]] = ("chassis", "place")

    place: PlaceWord = column("where", required=True, example="air piston seal")
    fluid: Slug | None = column("grease", to="fluids")
    extent_mm: Published | None = column("length to grease, from the end", unit="mm", example="120")
    mass_g: Published | None = column("mass of the grease", unit="g", example="2")
    amount: Text | None = column("amount in words", example="a thin even film")


class Use(Statement, TravelScopedRow, table=True):
    """A part that a job uses."""

    table: ClassVar[str] = "uses"
    about: ClassVar[tuple[str, ...]] = ("chassis", "job", "part", "position")

    job: Job = column("job", required=True)
    part: Slug = column("part", to="parts", required=True, compared_by="kind")
    position: Position | None = column("position", example="foot bolt")
    count: Integer | None = column("number of them", example="2")
    when: Literal["always", "if worn", "if opened"] | None = column("when it is needed")


class Limit(Statement, TravelScopedRow, table=True):
    """A limit that must not be exceeded."""

    table: ClassVar[str] = "limits"
    about: ClassVar[tuple[str, ...]] = ("chassis", "subject")

    subject: SubjectWord = column("quantity that is limited", required=True, example="rotor diameter")
    min: Published | None = column("least", unit_column="unit", measures="any", positive=False)
    max: Published | None = column("greatest", unit_column="unit", measures="any", example="203")
    unit: Text | None = column("unit", measures="any", example="mm")
    method: Text | None = column("how it is measured")
    action: Text | None = column("what to do if it is exceeded", example="replace the bushings")


class Interval(Statement, TravelScopedRow, table=True):
    """A service interval."""

    table: ClassVar[str] = "intervals"
    about: ClassVar[tuple[str, ...]] = ("chassis", "operation", "riding")

    operation: Operation = column("service operation", required=True, example="lower-leg-service")
    hours: Integer | None = column("interval in hours of riding", unit="h", example="50")
    months: Integer | None = column("interval in months", unit="months", example="12")
    riding: Text | None = column("applies to this kind of riding", example="park")


class Guide(Statement, TravelScopedRow, table=True):
    """A published set-up for riders of a certain mass."""

    table: ClassVar[str] = "guides"
    about: ClassVar[tuple[str, ...]] = (
        "chassis", "chamber", "rider_mass_from", "rider_mass_to", "mass_unit", "riding",
    )  # fmt: skip

    chamber: Literal["positive", "second positive", "negative", "coil"] | None = column(
        "chamber that the pressure is for"
    )
    rider_mass_from: Published | None = column(
        "rider mass from", unit_column="mass_unit", measures="mass", example="70"
    )
    rider_mass_to: Published | None = column(
        "rider mass to, not included", unit_column="mass_unit", measures="mass", example="80"
    )
    mass_unit: Text | None = column("unit of the masses", measures="mass", example="kg")
    mass_is: Literal["with gear", "without", "not stated"] | None = column("whether the mass includes gear")
    riding: Text | None = column("applies to this kind of riding", example="park")
    pressure: Published | None = column(
        "start pressure, gauge", unit_column="pressure_unit", measures="pressure", example="72"
    )
    pressure_min: Published | None = column("least", unit_column="pressure_unit", measures="pressure")
    pressure_max: Published | None = column("greatest", unit_column="pressure_unit", measures="pressure")
    pressure_unit: Text | None = column("unit of the pressures", measures="pressure", example="psi")
    sag_percent: Published | None = column("sag that results", unit="%", example="20")
    sag_min_percent: Published | None = column("least sag", unit="%", example="18")
    sag_max_percent: Published | None = column("greatest sag", unit="%", example="20")
    spring_choice: Slug | None = column("coil spring to choose", to="springs")
    rebound_clicks: Integer | None = column("rebound clicks, counted from the damper's `clicks_from`", positive=False)
    rebound_clicks_min: Integer | None = column("fewest rebound clicks", example="12", positive=False)
    rebound_clicks_max: Integer | None = column("most rebound clicks", example="13", positive=False)
    compression_clicks: Integer | None = column(
        "compression clicks, counted from the damper's `clicks_from`", positive=False
    )
    compression_clicks_min: Integer | None = column("fewest compression clicks", example="6", positive=False)
    compression_clicks_max: Integer | None = column("most compression clicks", example="8", positive=False)
    preload_turns: Published | None = column("turns of preload, counted in from minimum preload", positive=False)
    preload_turns_min: Published | None = column("fewest turns of preload", example="1", positive=False)
    preload_turns_max: Published | None = column("most turns of preload", example="2", positive=False)
    instruction: Text | None = column("words in place of a figure", example="ask the maker")


class Adjustment(Statement, TravelScopedRow, table=True):
    """An amount that a source adds to the figures of its guide on a condition; a minus sign takes away."""

    table: ClassVar[str] = "adjustments"
    about: ClassVar[tuple[str, ...]] = ("chassis", "target", "condition")

    target: Literal[
        "rebound clicks", "compression clicks", "preload turns", "sag", "negative pressure", "pressure"
    ] = column("figure of the guide that it adds to", required=True)  # fmt: skip
    condition: Text = column("condition on which it is added", required=True, example="e-bike")
    value: Published | None = column("amount to add", unit_column="unit", measures="any", example="8", positive=False)
    unit: Text | None = column("unit of the amount; empty for clicks and turns", measures="any", example="psi")


class Reading(Statement, TravelScopedRow, table=True):
    """A measurement on a fork of this kind."""

    table: ClassVar[str] = "readings"
    about: ClassVar[tuple[str, ...]] = ("id",)

    spacers: Integer | None = column("number of volume spacers fitted", positive=False)
    state: Text | None = column("state of the fork", example="at sag")
    at_travel_mm: Published | None = column(
        "compression from full extension at which it was taken", unit="mm", example="38", positive=False
    )
    pressure: Published | None = column(
        "gauge pressure", unit_column="pressure_unit", measures="pressure", example="72"
    )
    pressure_unit: Text | None = column("unit of the pressure", measures="pressure", example="psi")
    force: Published | None = column("force on the fork", unit_column="force_unit", measures="force")
    force_unit: Text | None = column("unit of the force", measures="force", example="N")
    direction: Literal["compressing", "extending", "mean"] | None = column("direction of movement before it was taken")
    rider_mass: Published | None = column("rider mass with gear", unit_column="mass_unit", measures="mass")
    mass_unit: Text | None = column("unit of the mass", measures="mass", example="kg")
    temperature_c: Published | None = column("temperature", unit="°C", positive=False)
