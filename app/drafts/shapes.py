"""The shapes of tables that manuals print: which columns each has, by which words, and what they fill."""

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from app.catalogue.columns import PUBLISHED_KIND, WHOLE_KIND, Column
from app.catalogue.tables import Fastener, Fill, Fit, Fluid, Grease, Guide, Row, Spring, Torque
from app.units.table import Kind, Unit, find

FieldForm = Literal["figure", "count", "text", "choice", "travel", "wheel", "years", "masses"]


@dataclass(frozen=True, slots=True)
class GridField:
    """One meaning that a column of a printed table can have. `names` are the words in its header, in lower case.

    A word that manuals use for two things (length, number, step) is none of them: it is asked about.
    """

    name: str
    table: type[Row]
    column: str
    names: tuple[str, ...]
    form: FieldForm

    @property
    def described(self) -> Column:
        """The column of the catalogue that it fills."""
        return self.table.columns()[self.column]

    @property
    def fixed_unit(self) -> Unit | None:
        """The unit that the catalogue's column always has."""
        unit = self.described.unit
        return find(unit)[0] if unit is not None and self.form in ("figure", "travel") else None

    @property
    def quantity(self) -> Kind | str | None:
        """The kind of quantity that its figures are; None for a count."""
        fixed = self.fixed_unit
        return self.described.measures if fixed is None else fixed.kind


_VAGUE = frozenset({"value"})
"""Names of fields that say nothing in a header."""


def _field(
    table: type[Row], column: str, *names: str, name: str | None = None, form: FieldForm | None = None
) -> GridField:
    described = table.columns()[column]
    if form is None:
        form = "text"
        if described.options:
            form = "choice"
        elif described.kind is WHOLE_KIND:
            form = "count"
        elif described.kind is PUBLISHED_KIND:
            form = "figure"
    own = name or column
    words = names if own in _VAGUE else (own.replace("_", " "), *names)
    return GridField(own, table, column, words, form)


@dataclass(frozen=True)
class TableShape:
    """One shape. A table has it if its headers name all `needed` fields; figures under a headed travel are `main`."""

    name: str
    meaning: str
    fields: tuple[GridField, ...]
    needed: tuple[str, ...]
    main: str
    constants: tuple[str, ...] = ("chassis", "source")

    @cached_property
    def by_name(self) -> dict[str, GridField]:
        """The fields by name."""
        return {field.name: field for field in self.fields}

    @cached_property
    def by_word(self) -> dict[str, GridField]:
        """The fields by the words of a header."""
        return {word: field for field in self.fields for word in field.names}


_SCOPE = (
    _field(Torque, "travel_from_mm", "travel", "fork travel", "travels", name="travel", form="travel"),
    _field(Torque, "wheel_size", "wheel", "wheels", "wheel sizes", form="wheel"),
    _field(Torque, "model_year_from", "model years", "year", "years", "model year", name="model_year", form="years"),
    _field(Torque, "page", "p.", "manual page"),
)

TORQUES = TableShape(
    "torques",
    "torques by fastener",
    (
        _field(
            Fastener, "position", "fastener", "bolt", "bolts", "screw", "part", "component", "location",
            "description",
        ),
        _field(Fastener, "side", "leg"),
        _field(Fastener, "count", "quantity", "qty", "pieces", "pcs"),
        _field(Fastener, "kind", "type", "kind of fastener"),
        _field(Fastener, "drives", "tool", "tools", "drive", "socket", "key", "tool size"),
        _field(Fastener, "thread", "thread size"),
        _field(
            Torque, "value", "torque", "tightening torque", "torque value", "nominal", "nominal torque", "torque spec",
            "specification",
        ),
        _field(Torque, "min", "minimum torque", "torque min", "min torque", "minimum", "lowest torque"),
        _field(Torque, "max", "maximum torque", "torque max", "max torque", "maximum", "highest torque"),
        _field(Torque, "stage"),
        _field(Torque, "order", "sequence", "tightening order"),
        _field(Torque, "mating_material", "material of the part", "against"),
        _field(Torque, "thread_prep", "thread preparation", "thread treatment", "preparation"),
        _field(Torque, "instruction", "instructions", "how"),
        _field(Torque, "recheck", "check again"),
        _field(Torque, "note", "notes", "remark", "remarks"),
        *_SCOPE,
    ),
    needed=("position", "value"),
    main="value",
)  # fmt: skip
OILS = TableShape(
    "oils",
    "oils by chamber",
    (
        _field(Fill, "chamber", "place", "where", "leg", "location"),
        _field(Fluid, "name", "oil", "oil type", "type of oil", "lubricant", name="fluid"),
        _field(Fluid, "kind", "kind of oil", name="fluid_kind"),
        _field(Fill, "value", "volume", "oil volume", "amount", "quantity"),
        _field(Fill, "level_mm", "level", "oil level"),
        _field(Fill, "level_datum", "measured from"),
        _field(Fill, "level_state", "state"),
        _field(Fill, "note", "notes", "remark", "remarks"),
        *_SCOPE,
    ),
    needed=("chamber", "fluid"),
    main="value",
)
GREASES = TableShape(
    "greases",
    "greases by place",
    (
        _field(Grease, "place", "where", "location", "part", "surface"),
        _field(Fluid, "name", "grease", "lubricant", "type of grease", name="fluid"),
        _field(Fluid, "kind", "kind of grease", name="fluid_kind"),
        _field(Grease, "extent_mm", "extent"),
        _field(Grease, "amount", "how much", "quantity"),
        _field(Grease, "note", "notes", "remark", "remarks"),
        *_SCOPE,
    ),
    needed=("place", "fluid"),
    main="amount",
)
PRESSURES = TableShape(
    "start pressures",
    "start pressures by rider mass",
    (
        _field(
            Guide, "rider_mass_from", "rider mass", "rider weight", "weight", "mass", "rider", "body weight",
            name="rider_mass", form="masses",
        ),
        _field(Guide, "pressure", "air pressure", "start pressure", "starting pressure", "positive pressure"),
        _field(Guide, "sag_percent", "sag"),
        _field(Guide, "chamber", "air chamber", "valve"),
        _field(Guide, "mass_is", "mass includes"),
        _field(Guide, "riding", "kind of riding", "riding style"),
        _field(Guide, "rebound_clicks", "rebound"),
        _field(Guide, "compression_clicks", "compression"),
        _field(Guide, "note", "notes", "remark", "remarks"),
        *_SCOPE,
    ),
    needed=("rider_mass", "pressure"),
    main="pressure",
)  # fmt: skip
SPRINGS = TableShape(
    "springs",
    "springs by travel",
    (
        _field(Fit, "travel_mm", "travel", "fork travel", name="travel", form="figure"),
        _field(Spring, "part_number", "part no", "part no.", "part number", "item no.", "article"),
        _field(Spring, "name", "spring name", "spring assembly", "air shaft", "assembly"),
        _field(Spring, "kind", "type", "air or coil"),
        _field(Fit, "axle_to_crown_mm", "axle-to-crown", "axle to crown", "a2c", "a-c"),
        _field(Spring, "shaft_length_mm", "shaft length", "length of the shaft"),
        _field(
            Fit, "spacer_limit", "max spacers", "max. spacers", "maximum spacers", "spacers max", "maximum tokens",
            "max tokens", "max. tokens", "max. volume spacers", "maximum volume spacers",
        ),
        _field(Fit, "spacers_fitted", "spacers installed", "factory spacers", "fitted spacers"),
        _field(Fit, "travel_spacers", "travel spacer count"),
        _field(Fit, "pressure_limit", "max pressure", "max. pressure", "maximum pressure", "maximum air pressure"),
        _field(Fit, "wheel_size", "wheel", "wheels", "wheel sizes", form="wheel"),
        _field(Fit, "model_year_from", "model years", "year", "years", name="model_year", form="years"),
        _field(Fit, "page", "p.", "manual page"),
        _field(Fit, "note", "notes", "remark", "remarks"),
    ),
    needed=("travel", "part_number"),
    main="part_number",
)  # fmt: skip
SPACER_LIMITS = TableShape(
    "spacer limits",
    "spacer limits by travel and wheel",
    (
        _field(Fit, "travel_mm", "travel", "fork travel", name="travel", form="figure"),
        _field(
            Fit, "spacer_limit", "max spacers", "max. spacers", "maximum spacers", "spacers", "max tokens", "tokens",
            "maximum tokens", "max. tokens", "max. volume spacers", "maximum volume spacers", "volume spacers",
        ),
        _field(Spring, "part_number", "part no", "part no."),
        _field(Fit, "wheel_size", "wheel", "wheels", "wheel sizes", form="wheel"),
        _field(Fit, "model_year_from", "model years", "year", "years", name="model_year", form="years"),
        _field(Fit, "page", "p.", "manual page"),
    ),
    needed=("travel", "spacer_limit"),
    main="spacer_limit",
)  # fmt: skip

SHAPES = {shape.name: shape for shape in (SPRINGS, SPACER_LIMITS, PRESSURES, TORQUES, OILS, GREASES)}
