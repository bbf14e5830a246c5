"""The things that statements are about: makers, sources, chassis and the parts fitted to them. Descriptions only."""

from typing import ClassVar, Literal

from app.catalogue.columns import (
    Boolean,
    Figures,
    Integer,
    Job,
    Number,
    Numbers,
    PartialDate,
    PartKind,
    PlaceWord,
    Position,
    Published,
    Side,
    Slug,
    Slugs,
    Text,
    TextList,
    Wheel,
    Wheels,
    column,
)
from app.catalogue.tables.row import Entity, Row, TravelScopedRow

Chamber = Literal[
    "spring-side lower leg", "damper-side lower leg", "above the air piston", "spring-side stanchion",
    "negative chamber", "damper", "foam ring",
]  # fmt: skip

AirChamber = Literal["positive", "second positive", "negative"]


class Maker(Entity, table=True):
    """The maker of a chassis, spring, damper, fluid, part or frame."""

    table: ClassVar[str] = "makers"

    name: Text = column("name as the maker writes it", required=True)


class Source(Row, table=True):
    """A document that values come from."""

    table: ClassVar[str] = "sources"

    maker: Slug | None = column("publisher", to="makers")
    series: Text | None = column("name shared by all editions: a newer edition of a series supersedes an older one")
    supersedes: Slugs | None = column("documents of other series that it replaces", to="sources")
    title: Text = column("title as printed", required=True)
    edition: Text | None = column("edition as printed", example="C")
    published_on: PartialDate | None = column("publication date: year, year-month or full date", example="2024-05")
    kind: Literal["manual", "bulletin", "measured", "common practice"] = column("type of document", required=True)
    invented: Boolean | None = column("true if the document does not exist: demonstration data, never for real work")


class Chassis(Entity, table=True):
    """One generation of a fork: crown, steerer, stanchions and lowers, without spring and damper."""

    table: ClassVar[str] = "chassis"
    wider_index = ("ix_chassis_family", ("maker", "name", "revision_to"))

    maker: Slug = column("maker", to="makers", required=True)
    name: Text = column("name; generations of one maker with the same name form a family", required=True)
    model_year_from: Integer | None = column("first model year", unit="year", example="2022")
    model_year_to: Integer | None = column("last model year, inclusive", unit="year", example="2025")
    crowns: Literal["single", "dual"] | None = column("single or dual crown")
    stanchion_diameter_mm: Number | None = column("outside diameter of the stanchions", unit="mm", example="35")
    stanchion_bore_mm: Number | None = column("inside diameter of the spring-side stanchion", unit="mm", example="31.5")
    wheel_sizes: Wheels | None = column(
        "wheel sizes that fit: ISO 5775 bead seat diameters; 29, 27.5 and 26 become 622, 584 and 559",
        unit="mm",
        example="584;622",
    )
    hub_spacings_mm: Numbers | None = column("front hub widths", unit="mm", example="110")
    axle_diameters_mm: Numbers | None = column("axle diameters", unit="mm", example="15")
    steerers: TextList | None = column("steerers it was made with", example="tapered 28.6-39.8")
    offsets_mm: Numbers | None = column("fork offsets it was made with", unit="mm", example="44;51")
    travel_min_mm: Number | None = column("shortest travel it can be built to", unit="mm", example="130")
    travel_max_mm: Number | None = column("longest travel it can be built to", unit="mm", example="160")
    dampers: Slugs | None = column("dampers it was made with", to="dampers")
    leg_free_volume_ml: Published | None = column(
        "free volume of one lower leg at full compression; more bath oil than this locks the fork",
        unit="mL",
        example="42",
    )
    marks: TextList | None = column("how to recognise it: casting, decal or crown marks", example="K4 on the crown")


class Variant(Entity, table=True):
    """A trim level or production run of a chassis."""

    table: ClassVar[str] = "variants"

    chassis: Slug = column("the chassis", to="chassis", required=True)
    name: Text = column("name as the maker writes it", required=True)
    model_code: Text | None = column("the maker's model code")
    serial_pattern: Text | None = column(
        "pattern of its serial numbers: # is a digit, @ a capital letter, anything else itself", example="@##-#####"
    )
    serial_from: Text | None = column("first serial number, compared as text of equal length")
    serial_to: Text | None = column("last serial number, inclusive")
    produced_from: PartialDate | None = column("first production date", example="2023-02")
    produced_to: PartialDate | None = column("last production date, inclusive")
    model_year_from: Integer | None = column("first model year", unit="year")
    model_year_to: Integer | None = column("last model year, inclusive", unit="year")
    springs: Slugs | None = column("springs it came with", to="springs")
    dampers: Slugs | None = column("dampers it came with", to="dampers")
    marks: TextList | None = column("how to recognise it")


class Spring(Entity, table=True):
    """A spring assembly, air or coil."""

    table: ClassVar[str] = "springs"

    maker: Slug = column("maker", to="makers", required=True)
    family: Text | None = column("springs of one design: same volumes and port, different shaft length")
    name: Text = column("name as the maker writes it", required=True)
    part_number: Text | None = column("the maker's part number")
    superseded_by: Slug | None = column("the spring that replaces it", to="springs")
    kind: Literal["air", "coil"] = column("air or coil", required=True)
    travel_set_by: Literal["shaft length", "travel spacer"] | None = column("what sets the travel")
    negative: Literal["port", "own valve", "coil", "none"] | None = column("how the negative chamber is filled")
    bore_mm: Number | None = column("diameter of the bore that the air piston runs in", unit="mm", example="31.5")
    shaft_diameter_mm: Number | None = column("diameter of the spring shaft", unit="mm", example="10")
    shaft_length_mm: Published | None = column("length of the spring shaft", unit="mm", example="214.5")
    length_tolerance_mm: Published | None = column(
        "how far the length of the shaft may be off, either way", unit="mm", example="2"
    )
    end_volume_ml: Published | None = column(
        "volume of the positive chamber at full travel, without volume spacers", unit="mL", example="68"
    )
    negative_volume_ml: Published | None = column(
        "volume of the negative chamber at full extension", unit="mL", example="18"
    )
    port_travel_mm: Published | None = column(
        "travel at which the port connects both chambers; 0 if they connect at full extension",
        unit="mm",
        example="4",
        positive=False,
    )
    geometry_basis: Literal["stated", "measured", "estimated"] | None = column("how the volumes are known")
    pressure_limit: Published | None = column(
        "maximum fill pressure: gauge, at full extension",
        unit_column="pressure_unit",
        measures="pressure",
        example="160",
    )
    pressure_unit: Text | None = column("unit of the pressure limit", measures="pressure", example="psi")
    rate: Published | None = column(
        "rate of a coil spring", unit_column="rate_unit", measures="spring rate", example="8.5"
    )
    rate_unit: Text | None = column("unit of the rate", measures="spring rate", example="N/mm")
    stroke_max_mm: Published | None = column("longest stroke of the coil", unit="mm", example="165")
    preload_min_mm: Published | None = column("minimum preload of a coil spring", unit="mm", positive=False)
    preload_max_mm: Published | None = column("maximum preload of a coil spring", unit="mm")
    colour_mark: Text | None = column("colour mark that identifies it")


class SpringChamber(Entity, table=True):
    """An air chamber of a spring: its valve, its place in the order of filling and its own maximum.

    A spring without rows here has a positive chamber, and a negative one as `negative` in springs says.
    """

    table: ClassVar[str] = "chambers"

    spring: Slug = column("spring it belongs to", to="springs", required=True)
    chamber: AirChamber = column("chamber", required=True)
    valve: Literal["own valve", "port"] | None = column("how it is filled")
    order: Integer | None = column("position in the order of filling", example="1")
    maximum: Published | None = column(
        "maximum fill pressure of this chamber: gauge, at full extension",
        unit_column="unit",
        measures="pressure",
        example="200",
    )
    unit: Text | None = column("unit of the maximum and of the offset", measures="pressure", example="psi")
    relative_to: AirChamber | None = column("chamber whose pressure decides the pressure of this one")
    offset: Published | None = column(
        "how far its pressure is above that of the other chamber; below it if less than zero",
        unit_column="unit",
        measures="pressure",
        example="10",
    )
    factor_min: Published | None = column(
        "least number of times its gauge pressure is that of the other chamber", example="1.6"
    )


class Damper(Entity, table=True):
    """A damper assembly."""

    table: ClassVar[str] = "dampers"

    maker: Slug = column("maker", to="makers", required=True)
    name: Text = column("name as the maker writes it", required=True)
    kind: Literal["open bath", "sealed cartridge", "bladder cartridge"] | None = column("construction")
    adjuster_at: Literal["foot", "top", "remote"] | None = column("where the adjuster is that must be removed")
    foot_joint: Literal["bolt into shaft", "nut on shaft"] | None = column("how it is fastened at the foot")
    serviceable: Literal["here", "by the maker", "no"] | None = column("who may service it")
    rebound_clicks: Integer | None = column("number of rebound clicks")
    compression_clicks: Integer | None = column("number of compression clicks", positive=False)
    clicks_from: Literal["closed", "open"] | None = column("end that the maker counts clicks from")
    travel_max_mm: Number | None = column("longest travel it allows", unit="mm", example="170")


class Spacer(Entity, table=True):
    """A volume spacer for the positive chamber."""

    table: ClassVar[str] = "spacers"

    name: Text = column("name as the maker writes it", required=True)
    volume_ml: Published | None = column("volume it takes up", unit="mL", example="8.2")
    drives: TextList | None = column("drives of the tool that turns it; any one fits", example="hex 8 mm")


class Part(Entity, table=True):
    """A part that is bought and fitted."""

    table: ClassVar[str] = "parts"

    maker: Slug | None = column("maker", to="makers")
    name: Text = column("name as the maker writes it", required=True)
    part_number: Text | None = column("the maker's part number")
    kind: PartKind = column("kind of part", required=True, example="crush washer")
    pack_count: Integer | None = column("pieces in a pack", example="2")
    superseded_by: Slug | None = column("the part that replaces it", to="parts")


class Fluid(Entity, table=True):
    """An oil or a grease, with its measured properties."""

    table: ClassVar[str] = "fluids"

    maker: Slug | None = column("maker", to="makers")
    name: Text = column("name as the maker writes it", required=True)
    kind: Literal["damper oil", "bath oil", "grease", "assembly paste"] = column("intended use", required=True)
    viscosity_40_cst: Published | None = column("kinematic viscosity at 40 °C", unit="cSt", example="16.1")
    viscosity_100_cst: Published | None = column("kinematic viscosity at 100 °C", unit="cSt", example="4.2")
    density_15_g_per_ml: Published | None = column("density at 15 °C", unit="g/mL", example="0.86")
    nlgi: Literal["000", "00", "0", "1", "2", "3", "4", "5", "6"] | None = column("NLGI grade of the grease")
    seal_safe: Boolean | None = column("stated to be safe for the fork's seals")
    packs_ml: Figures | None = column("pack sizes", unit="mL", example="120;1000")


class Tool(Entity, table=True):
    """A tool, by the drive it fits."""

    table: ClassVar[str] = "tools"

    name: Text = column("name", required=True)
    drive: Text | None = column("drive it fits", example="hex 5 mm")


class Fastener(Entity, table=True):
    """A fastener: one place that is tightened."""

    table: ClassVar[str] = "fasteners"

    chassis: Slug | None = column("chassis it belongs to", to="chassis")
    spring: Slug | None = column("spring it belongs to", to="springs")
    damper: Slug | None = column("damper it belongs to", to="dampers")
    model_year_from: Integer | None = column("first model year", unit="year")
    model_year_to: Integer | None = column("last model year, inclusive", unit="year")
    position: Position = column("position", required=True, example="foot bolt")
    side: Side | None = column("leg or side", example="spring side")
    count: Integer | None = column("number of them", example="1")
    group: Text | None = column("fasteners that are tightened in turns, one after the other", example="lower crown")
    kind: Literal["bolt", "nut", "cap", "set screw", "threaded seal head", "valve core"] = column(
        "kind of fastener", required=True
    )
    drives: TextList | None = column("drives that turn it; any one fits", example="hex 5 mm")
    thread: Text | None = column("thread, as an ISO designation", example="M8x1")
    hand: Literal["right", "left"] | None = column("left-hand or right-hand thread")
    property_class: Text | None = column("property class to ISO 898-1 or ISO 3506-1", example="8.8")
    standard: Text | None = column("standard of the screw, if it is a standard one", example="ISO 4762")
    material: Text | None = column("material of the fastener", example="steel")
    counterpart_material: Text | None = column("material of the part it is screwed into", example="magnesium")
    through_hole_mm: Published | None = column("diameter of the hole through it", unit="mm", example="3")
    reuse: Literal["reuse", "replace"] | None = column("whether it may be reused")


class Frame(Entity, table=True):
    """A bicycle frame: which forks it permits, and its geometry."""

    table: ClassVar[str] = "frames"

    maker: Slug | None = column("maker", to="makers")
    name: Text = column("name as the maker writes it", required=True)
    size: Text | None = column("frame size")
    model_year_from: Integer | None = column("first model year", unit="year")
    model_year_to: Integer | None = column("last model year, inclusive", unit="year")
    travel_min_mm: Number | None = column("shortest fork travel permitted", unit="mm")
    travel_max_mm: Number | None = column("longest fork travel permitted", unit="mm")
    axle_to_crown_max_mm: Published | None = column("longest axle-to-crown permitted", unit="mm")
    dual_crown: Literal["yes", "no", "not stated"] | None = column("whether a dual crown fork is permitted")
    steerer: Text | None = column("steerer it takes")
    tyre_front_max_mm: Published | None = column("widest front tyre that fits", unit="mm")
    axle_to_crown_mm: Published | None = column(
        "axle-to-crown that the geometry below is given for", unit="mm", example="540"
    )
    head_angle_deg: Published | None = column("head angle from the horizontal", unit="°", example="65.5")
    seat_angle_deg: Published | None = column("seat angle from the horizontal", unit="°")
    wheelbase_mm: Published | None = column("wheelbase", unit="mm")
    chainstay_mm: Published | None = column("chainstay length", unit="mm")
    bb_drop_mm: Published | None = column("bottom bracket drop below the axles", unit="mm", positive=False)
    reach_mm: Published | None = column("reach", unit="mm")
    stack_mm: Published | None = column("stack", unit="mm")
    offset_mm: Published | None = column("fork offset that the geometry is given for", unit="mm")
    wheel_front: Wheel | None = column("front wheel: ISO 5775 bead seat diameter", unit="mm", example="622")
    wheel_rear: Wheel | None = column("rear wheel: ISO 5775 bead seat diameter", unit="mm", example="622")
    tyre_front_mm: Published | None = column("height of the front tyre above the bead seat", unit="mm", example="60")
    tyre_rear_mm: Published | None = column("height of the rear tyre above the bead seat", unit="mm", example="60")
    geometry_sag_mm: Published | None = column("fork sag that the geometry is given for", unit="mm", positive=False)
    axle_to_crown_measured: Literal["along the steerer", "straight", "not stated"] | None = column(
        "how axle-to-crown is measured"
    )


class Procedure(Entity, TravelScopedRow, table=True):
    """The steps of one job, for all chassis or within a scope."""

    table: ClassVar[str] = "procedures"

    job: Job = column("job", required=True)
    name: Text = column("name", required=True)
    chassis: Slug | None = column("applies to this chassis only", to="chassis")


class Step(Row, table=True):
    """One step of a procedure: text with placeholders for figures."""

    table: ClassVar[str] = "steps"

    procedure: Slug = column("procedure it belongs to", to="procedures", required=True)
    order: Integer = column("position in the order of work", required=True)
    action: Literal[
        "note", "empty", "loosen", "back-off", "free", "remove", "inspect", "clean", "grease", "fill", "fit", "seat",
        "tighten", "set", "check",
    ] = column("kind of work", required=True)  # fmt: skip
    text: Text = column(
        "the instruction, with placeholders {torque} {volume} {grease} {count} {turns} {extent}, and for "
        "sentences from the set-up {filling} {second} {extra} {sag} {proof} {height} {clicks} {preload} {noted}",
        required=True,
    )
    fastener_position: Position | None = column("position of the fastener it works on", example="foot bolt")
    chamber: Chamber | None = column("chamber it empties or fills")
    place: PlaceWord | None = column("place it greases", example="air piston seal")
    part_kind: PartKind | None = column("kind of part it fits", example="crush washer")
    tools: Slugs | None = column("tools needed besides those for the fastener", to="tools")
    turns: Text | None = column("turns to back the fastener off", example="3-4")
    when: TextList | None = column(
        "conditions, which must all be met: property=value or property=value|value with spring_kind, "
        "foot_joint, adjuster_at, crowns, travel_set_by, damper_kind, negative, second_positive (own valve, port or "
        "none), seal_head (retaining ring or threaded)",
        example="foot_joint=bolt into shaft",
    )
    measures: Text | None = column("what to measure and write down")
    caution: Text | None = column("hazards at this step")
    source: Slug | None = column("document this row comes from", to="sources")
    page: Text | None = column("page or section of that document")
