"""Reads the header of a column: the field it names, its unit, and the travel, wheel, years or chamber it covers."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from dataclasses import field as make_field
from itertools import product

from app.drafts.desk import LEAVE_OUT
from app.drafts.figures import CellFigure, read_figure, tidy
from app.drafts.shapes import GridField, TableShape
from app.errors import Invalid
from app.units.measure import WHEEL_NAMES, parse_wheel_size
from app.units.table import Unit, find

_Units = tuple[Unit, Unit | None]
DIMENSIONS = ("travel", "wheel_size", "model_year")
"""Fields whose figure can be in a header: a column for each travel, wheel or span of years."""
LIMITS = ("min", "max")
"""Fields that hold the limits of the main figure, often under a heading of their own: Torque / Max."""
_WITH_UNIT = (
    re.compile(r"(?P<name>.*?) ?[(\[](?P<unit>[^()\[\]]+)[)\]]"),
    re.compile(r"(?P<name>.+?)(?:, ?| / ?| in | )(?P<unit>[^, ]+(?: [^, ]+)?)"),
)
_YEARS = re.compile(r"(?:my ?)?((?:19|20)[0-9]{2})(?: ?[-–—] ?((?:19|20)[0-9]{2}))?", re.IGNORECASE)
_CHAMBERS = {
    "positive": "positive", "positive chamber": "positive", "main chamber": "positive",
    "negative": "negative", "negative chamber": "negative",
    "second positive": "second positive", "second positive chamber": "second positive",
}  # fmt: skip
_RIDINGS = frozenset({"trail", "park", "enduro", "race", "downhill", "cross country"})


@dataclass(slots=True)
class ColumnMeaning:
    """One column: its field and unit, and the scope that its header names in `at`.

    `second_unit` is that of a second figure in each cell, as in `Torque (N·m / in·lbf)`. `unknown` and `bare` are the
    words and figures that say nothing known. `is_assumed` says that no word names the field, `is_again` that the column
    gives the figures of another one in another unit.
    """

    header: str
    field: GridField | None = None
    unit: Unit | None = None
    second_unit: Unit | None = None
    at: dict[str, str] = make_field(default_factory=dict)
    unknown: list[str] = make_field(default_factory=list)
    bare: list[str] = make_field(default_factory=list)
    is_assumed: bool = False
    is_left_out: bool = False
    is_again: bool = False


def heading(text: str) -> str:
    """The key of the question what a heading means."""
    return f"heading {text}"


def read_header(
    shape: TableShape, parts: tuple[str, ...], answers: Mapping[str, str], figures_are: str | None
) -> ColumnMeaning:
    """Interpret a column from the words above it, top to bottom.

    `figures_are` is the dimension of figures that stand alone. An answer about a heading is read in its place.
    """
    column = ColumnMeaning(" / ".join(parts))
    if answers.get(heading(column.header)) == LEAVE_OUT:
        column.is_left_out = True
        return column
    reader = _Reader(shape, column, figures_are)
    for part in (column.header,) if heading(column.header) in answers else parts:
        answer = answers.get(heading(part), part)
        if answer != LEAVE_OUT:
            reader.take(tidy(answer), part)
    if column.field is not None and column.field.name in column.at:
        column.field = None
    if column.field is None and column.at:
        column.field, column.is_assumed = shape.by_name[shape.main], True
    if column.field is not None and column.unit is not None and column.field.quantity is not None:
        kind = column.field.quantity
        column.unit = next((unit for unit in find(column.unit.name) if unit.kind == kind), None)
        if column.unit is None:
            column.unknown.append(column.header)
    if column.field is None and not column.unknown and not column.bare:
        column.unknown.append(column.header)
    return column


class _Reader:
    def __init__(self, shape: TableShape, column: ColumnMeaning, figures_are: str | None) -> None:
        self.shape = shape
        self.column = column
        self.dimension = figures_are

    def take(self, text: str, as_given: str) -> None:
        """One part of a header."""
        column = self.column
        if (named := self._named(text)) is not None:
            column.unit, column.second_unit = named[1] or (column.unit, column.second_unit)
            if named[0].name in DIMENSIONS:
                self.dimension = named[0].name
            is_limit = column.field is self.shape.by_name[self.shape.main] and named[0].name in LIMITS
            if column.field is None or column.field.name in DIMENSIONS or is_limit:
                column.field = named[0]
            elif column.field is not named[0]:
                column.unknown.append(as_given)  # two fields in one header
        elif (units := _units(text.strip("()[]"))) is not None:
            column.unit, column.second_unit = units
        elif not self._scope(text) and not self._with_scope(text):
            (column.bare if re.fullmatch(r"[0-9][0-9.,]*", text) else column.unknown).append(as_given)

    def _named(self, text: str) -> tuple[GridField, _Units | None] | None:
        """The field that a part names, with the units beside its name."""
        if (field := self._by_word(text)) is not None:
            return field, None
        for pattern in _WITH_UNIT:
            found = pattern.fullmatch(text)
            if found is not None and (units := _units(found["unit"])) and (field := self._by_word(found["name"])):
                return field, units
        return None

    def _by_word(self, text: str) -> GridField | None:
        word = text.casefold().strip(" :*")
        return self.shape.by_word.get(word) or self.shape.by_word.get(word.rstrip(".")) or self.shape.by_name.get(word)

    def _with_scope(self, text: str) -> bool:
        """A part such as `Positive (psi)` or `Pressure 130 mm`: a name or scope, and a unit or scope."""
        for pattern in _WITH_UNIT:
            found = pattern.fullmatch(text)
            if found is not None and (units := _units(found["unit"])) is not None and self._scope(found["name"]):
                self.column.unit, self.column.second_unit = units
                return True
        return False

    def _scope(self, text: str) -> bool:
        """Take a part that is a chamber, years, a wheel or a travel; False if it is none of these."""
        at, known = self.column.at, self.shape.by_name
        if "chamber" in known and self.shape.main == "pressure" and text.casefold() in _CHAMBERS:
            at["chamber"] = _CHAMBERS[text.casefold()]
        elif "riding" in known and text.casefold().removesuffix(" riding") in _RIDINGS:
            at["riding"] = text.casefold().removesuffix(" riding")
        elif "model_year" in known and (years := _YEARS.fullmatch(text)) is not None:
            at["model_year"] = f"{years[1]}-{years[2] or years[1]}"
        elif "wheel_size" in known and (wheel := _wheel(text, self.dimension)) is not None:
            at["wheel_size"] = wheel
        elif "travel" in known and (travel := _travel(text, self.dimension)) is not None:
            at["travel"] = travel
        else:
            return False
        return True


def _units(text: str) -> _Units | None:
    """The unit of a heading, or the two units of one that gives each figure twice."""
    if one := find(text.strip()):
        return one[0], None
    first, _, second = text.partition("/")
    here, there = find(first.strip()), find(second.strip())
    return next((pair for pair in product(here, there) if pair[0].kind == pair[1].kind), None)


def _wheel(text: str, dimension: str | None) -> str | None:
    """A bead seat: `29"`, `27.5 in`, or a bare 29 or 622 that cannot be a travel."""
    bare = text.casefold().removesuffix("wheels").removesuffix("wheel").strip()
    marked = bare.rstrip('"″”').removesuffix("in").removesuffix("inch").strip()
    if dimension == "travel" or (marked not in WHEEL_NAMES and dimension != "wheel_size"):
        return None
    try:
        return str(parse_wheel_size(marked))
    except Invalid:
        return None


def _travel(text: str, dimension: str | None) -> str | None:
    """A travel or a span of travels in mm, as digits; a bare figure only if the headers above say that it is one."""
    found = read_figure(text, "length", "point")
    if not isinstance(found, CellFigure) or found.about or (found.unit is None and dimension != "travel"):
        return None
    if found.unit is not None and found.unit.name != "mm":
        return None
    if found.value is not None and found.low is None:
        return found.value
    return f"{found.low}-{found.high}" if found.value is None and found.low and found.high else None
