"""The things statements are about: makers, sources, chassis and what is fitted to them. Descriptions only."""

from typing import ClassVar, Literal

from app.catalogue.columns import (
    Boolean,
    Figures,
    Integer,
    Number,
    Numbers,
    PartialDate,
    Published,
    Slug,
    Slugs,
    Text,
    TextList,
    Wholes,
    column,
)
from app.catalogue.tables.row import Entity, Row, TravelScopedRow

Job = Literal["travel-change", "spacer-change", "lower-leg-service", "full-service"]
Chamber = Literal[
    "spring-side lower leg", "damper-side lower leg", "above the air piston", "spring-side stanchion",
    "negative chamber", "damper", "foam ring",
]  # fmt: skip


class Maker(Entity, table=True):
    """Who makes a chassis, spring, damper, fluid, part or frame."""

    table: ClassVar[str] = "makers"

    name: Text = column("name as written", required=True)


class Source(Row, table=True):
    """The documents that values come from."""

    table: ClassVar[str] = "sources"

    maker: Slug | None = column("who published it", to="makers")
    series: Text | None = column("what its editions have in common: a newer edition of one series supersedes an older")
    title: Text = column("title as printed", required=True)
    edition: Text | None = column("edition as printed", example="C")
    published_on: PartialDate | None = column("date of publication: year, year-month or full date", example="2024-05")
    kind: Literal["manual", "bulletin", "measured", "common practice"] = column("what sort of document", required=True)
    invented: Boolean | None = column("true of a document that does not exist: demonstration data, never for real work")


class Chassis(Entity, table=True):
    """One generation of a fork: crown, steerer, stanchions, lowers; all but spring and damper."""

    table: ClassVar[str] = "chassis"
    wider_index = ("ix_chassis_family", ("maker", "name", "revision_to"))

    maker: Slug = column("who makes it", to="makers", required=True)
    name: Text = column("name; generations of one maker and name are a family", required=True)
    model_year_from: Integer | None = column("first model year", unit="year", example="2022")
    model_year_to: Integer | None = column("last model year, included", unit="year", example="2025")
    crowns: Literal["single", "dual"] | None = column("single or dual crown")
    stanchion_diameter_mm: Number | None = column("outside diameter of the stanchions", unit="mm", example="35")
    stanchion_bore_mm: Number | None = column("inside diameter of the spring-side stanchion", unit="mm", example="31.5")
    wheel_sizes: Wholes | None = column("wheels it takes: ISO 5775 bead seat diameters", unit="mm", example="584;622")
    hub_spacings_mm: Numbers | None = column("front hub widths", unit="mm", example="110")
    axle_diameters_mm: Numbers | None = column("axle diameters", unit="mm", example="15")
    steerers: TextList | None = column("steerers it was made with", example="tapered 28.6-39.8")
    offsets_mm: Numbers | None = column("offsets it was made with", unit="mm", example="44;51")
    travel_min_mm: Number | None = column("least travel it can be built to", unit="mm", example="130")
    travel_max_mm: Number | None = column("greatest travel it can be built to", unit="mm", example="160")
    dampers: Slugs | None = column("dampers it was made with", to="dampers")
    leg_free_volume_ml: Published | None = column(
        "free volume of one lower leg at full compression: more bath oil than this locks the fork",
        unit="mL",
        example="42",
    )
    marks: TextList | None = column("what can be read on it: casting, decal or crown marks", example="K4 on the crown")


class Variant(Entity, table=True):
    """A trim level or production run of a chassis."""

    table: ClassVar[str] = "variants"

    chassis: Slug = column("the chassis", to="chassis", required=True)
    name: Text = column("name as written", required=True)
    model_code: Text | None = column("the maker's code for it")
    serial_pattern: Text | None = column(
        "shape of its serials: # a digit, @ a capital letter, all else itself", example="@##-#####"
    )
    serial_from: Text | None = column("first serial, compared as text of equal length")
    serial_to: Text | None = column("last serial, included")
    produced_from: PartialDate | None = column("produced from", example="2023-02")
    produced_to: PartialDate | None = column("produced to, included")
    model_year_from: Integer | None = column("first model year", unit="year")
    model_year_to: Integer | None = column("last model year, included", unit="year")
    springs: Slugs | None = column("springs it came with", to="springs")
    dampers: Slugs | None = column("dampers it came with", to="dampers")
    marks: TextList | None = column("what can be read on it")


class Spring(Entity, table=True):
    """A spring assembly, air or coil."""

    table: ClassVar[str] = "springs"

    maker: Slug = column("who makes it", to="makers", required=True)
    family: Text | None = column("springs of one construction: same volumes and port, other shaft length")
    name: Text = column("name as written", required=True)
    part_number: Text | None = column("the maker's part number")
    superseded_by: Slug | None = column("the spring that replaces it", to="springs")
    kind: Literal["air", "coil"] = column("air or coil", required=True)
    travel_set_by: Literal["shaft length", "travel spacer"] | None = column("what sets the travel")
    negative: Literal["port", "own valve", "coil", "none"] | None = column("how the negative spring is charged")
    bore_mm: Number | None = column("bore the air piston runs in", unit="mm", example="31.5")
    shaft_diameter_mm: Number | None = column("diameter of the spring shaft", unit="mm", example="10")
    end_volume_ml: Published | None = column("positive chamber at full travel, no spacers", unit="mL", example="68")
    negative_volume_ml: Published | None = column("negative chamber at full extension", unit="mL", example="18")
    port_travel_mm: Published | None = column(
        "travel at which the port joins both chambers; 0 when they join at full extension",
        unit="mm",
        example="4",
        positive=False,
    )
    geometry_basis: Literal["stated", "measured", "estimated"] | None = column("where the volumes come from")
    pressure_limit: Published | None = column(
        "maximum fill pressure: gauge, at full extension",
        unit_column="pressure_unit",
        measures="pressure",
        example="160",
    )
    pressure_unit: Text | None = column("unit of the pressure limit", measures="pressure", example="psi")
    rate: Published | None = column("rate of a coil", unit_column="rate_unit", measures="spring rate", example="8.5")
    rate_unit: Text | None = column("unit of the rate", measures="spring rate", example="N/mm")
    stroke_max_mm: Published | None = column("greatest stroke it can make", unit="mm", example="165")
    preload_min_mm: Published | None = column("least preload of a coil", unit="mm", positive=False)
    preload_max_mm: Published | None = column("greatest preload of a coil", unit="mm")
    colour_mark: Text | None = column("colour by which it is told apart, in words")


class Damper(Entity, table=True):
    """A damper assembly."""

    table: ClassVar[str] = "dampers"

    maker: Slug = column("who makes it", to="makers", required=True)
    name: Text = column("name as written", required=True)
    kind: Literal["open bath", "sealed cartridge", "bladder cartridge"] | None = column("construction")
    adjuster_at: Literal["foot", "top", "remote"] | None = column("where the adjuster sits that must come off")
    foot_joint: Literal["bolt into shaft", "nut on shaft"] | None = column("how it is held at the foot")
    serviceable: Literal["here", "by the maker", "no"] | None = column("who may open it")
    rebound_clicks: Integer | None = column("clicks of rebound adjustment")
    compression_clicks: Integer | None = column("clicks of compression adjustment", positive=False)
    clicks_from: Literal["closed", "open"] | None = column("where the maker counts from")
    travel_max_mm: Number | None = column("greatest travel it allows", unit="mm", example="170")


class Spacer(Entity, table=True):
    """A volume spacer for the positive chamber."""

    table: ClassVar[str] = "spacers"

    name: Text = column("name as written", required=True)
    volume_ml: Published | None = column("volume it takes", unit="mL", example="8.2")
    drives: TextList | None = column("drives of the tool that turns it, any of", example="hex 8 mm")


class Part(Entity, table=True):
    """What is bought and fitted."""

    table: ClassVar[str] = "parts"

    maker: Slug | None = column("who makes it", to="makers")
    name: Text = column("name as written", required=True)
    part_number: Text | None = column("the maker's part number")
    kind: Text = column("what it is", required=True, example="crush washer")
    pack_count: Integer | None = column("pieces in a pack", example="2")
    superseded_by: Slug | None = column("the part that replaces it", to="parts")


class Fluid(Entity, table=True):
    """An oil or a grease with its measured properties."""

    table: ClassVar[str] = "fluids"

    maker: Slug | None = column("who makes it", to="makers")
    name: Text = column("name as written", required=True)
    kind: Literal["damper oil", "bath oil", "grease", "assembly paste"] = column("what it is for", required=True)
    viscosity_40_cst: Published | None = column("kinematic viscosity at 40 °C", unit="cSt", example="16.1")
    viscosity_100_cst: Published | None = column("kinematic viscosity at 100 °C", unit="cSt", example="4.2")
    density_15_g_per_ml: Published | None = column("density at 15 °C", unit="g/mL", example="0.86")
    nlgi: Literal["000", "00", "0", "1", "2", "3", "4", "5", "6"] | None = column("NLGI grade of a grease")
    seal_safe: Boolean | None = column("stated to be safe for the fork's seals")
    packs_ml: Figures | None = column("sizes it is sold in", unit="mL", example="120;1000")


class Tool(Entity, table=True):
    """A tool by the drive it fits."""

    table: ClassVar[str] = "tools"

    name: Text = column("name as written", required=True)
    drive: Text | None = column("the drive it fits", example="hex 5 mm")


class Fastener(Entity, table=True):
    """One position that is tightened."""

    table: ClassVar[str] = "fasteners"

    chassis: Slug | None = column("on this chassis", to="chassis")
    spring: Slug | None = column("part of this spring", to="springs")
    damper: Slug | None = column("part of this damper", to="dampers")
    model_year_from: Integer | None = column("first model year", unit="year")
    model_year_to: Integer | None = column("last model year, included", unit="year")
    position: Text = column("where it is", required=True, example="foot bolt")
    side: Text | None = column("which leg or side", example="spring side")
    count: Integer | None = column("how many of them", example="1")
    kind: Literal["bolt", "nut", "cap", "set screw", "threaded seal head", "valve core"] = column(
        "what it is", required=True
    )
    drives: TextList | None = column("drives that turn it, any of", example="hex 5 mm")
    thread: Text | None = column("thread, ISO designation", example="M8x1")
    hand: Literal["right", "left"] | None = column("hand of the thread")
    property_class: Text | None = column("property class of ISO 898-1 or ISO 3506-1", example="8.8")
    standard: Text | None = column("standard of the screw, where it is one", example="ISO 4762")
    material: Text | None = column("material of the fastener", example="steel")
    counterpart_material: Text | None = column("material it goes into", example="magnesium")
    through_hole_mm: Published | None = column("hole through it", unit="mm", example="3")
    reuse: Literal["reuse", "replace"] | None = column("whether it may be used again")


class Frame(Entity, table=True):
    """A bicycle frame: what it permits, and its geometry."""

    table: ClassVar[str] = "frames"

    maker: Slug | None = column("who makes it", to="makers")
    name: Text = column("name as written", required=True)
    size: Text | None = column("frame size")
    model_year_from: Integer | None = column("first model year", unit="year")
    model_year_to: Integer | None = column("last model year, included", unit="year")
    travel_min_mm: Number | None = column("least fork travel it permits", unit="mm")
    travel_max_mm: Number | None = column("greatest fork travel it permits", unit="mm")
    axle_to_crown_max_mm: Published | None = column("greatest axle-to-crown it permits", unit="mm")
    dual_crown: Literal["yes", "no", "not stated"] | None = column("whether a dual crown fork is permitted")
    steerer: Text | None = column("steerer it takes")
    tyre_front_max_mm: Published | None = column("widest front tyre", unit="mm")
    axle_to_crown_mm: Published | None = column(
        "axle-to-crown at which the geometry below is given", unit="mm", example="540"
    )
    head_angle_deg: Published | None = column("head angle from the horizontal", unit="°", example="65.5")
    seat_angle_deg: Published | None = column("seat angle from the horizontal", unit="°")
    wheelbase_mm: Published | None = column("wheelbase", unit="mm")
    chainstay_mm: Published | None = column("chainstay length", unit="mm")
    bb_drop_mm: Published | None = column("bottom bracket below the axles", unit="mm", positive=False)
    reach_mm: Published | None = column("reach", unit="mm")
    stack_mm: Published | None = column("stack", unit="mm")
    offset_mm: Published | None = column("fork offset of the geometry", unit="mm")
    wheel_front: Integer | None = column("front wheel: ISO 5775 bead seat diameter", unit="mm", example="622")
    wheel_rear: Integer | None = column("rear wheel: ISO 5775 bead seat diameter", unit="mm", example="622")
    tyre_front_mm: Published | None = column("height of the front tyre above the bead seat", unit="mm", example="60")
    tyre_rear_mm: Published | None = column("height of the rear tyre above the bead seat", unit="mm", example="60")
    geometry_sag_mm: Published | None = column("fork sag at which the geometry is given", unit="mm", positive=False)
    axle_to_crown_measured: Literal["along the steerer", "straight", "not stated"] | None = column("how it is measured")


class Procedure(Entity, TravelScopedRow, table=True):
    """The order of work of one job, for all chassis or for a scope."""

    table: ClassVar[str] = "procedures"

    job: Job = column("the job", required=True)
    name: Text = column("name as written", required=True)
    chassis: Slug | None = column("for this chassis only", to="chassis")


class Step(Row, table=True):
    """One step of a procedure, in words with slots for figures."""

    table: ClassVar[str] = "steps"

    procedure: Slug = column("the procedure", to="procedures", required=True)
    order: Integer = column("place in the order of work", required=True)
    action: Literal[
        "note", "empty", "loosen", "back-off", "free", "remove", "inspect", "clean", "grease", "fill", "fit", "seat",
        "tighten", "set", "check",
    ] = column("what is done", required=True)  # fmt: skip
    text: Text = column(
        "the instruction; slots {torque} {volume} {grease} {count} {turns} {extent}, and sentences of the set-up: "
        "{filling} {second} {sag} {proof} {height} {clicks} {preload} {noted}",
        required=True,
    )
    fastener_position: Text | None = column("position of the fastener it works on", example="foot bolt")
    chamber: Chamber | None = column("the chamber it empties or fills")
    place: Text | None = column("the place it greases", example="air piston seal")
    part_kind: Text | None = column("kind of part it fits", example="crush washer")
    tools: Slugs | None = column("tools it needs beyond those of the fastener", to="tools")
    turns: Text | None = column("turns to back off", example="3-4")
    when: TextList | None = column(
        "conditions, all of which hold: property=value or property=value|value with spring_kind, foot_joint, "
        "adjuster_at, crowns, travel_set_by, damper_kind, negative",
        example="foot_joint=bolt into shaft",
    )
    measures: Text | None = column("what to measure and write down")
    caution: Text | None = column("what can hurt at this step")
    source: Slug | None = column("the document this row comes from", to="sources")
    page: Text | None = column("page or section of that document")
