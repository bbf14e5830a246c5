"""The base of every table's rows: an id, described columns, one text form per cell. Invalid values never make a row."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import make_dataclass
from decimal import Decimal
from functools import cache, lru_cache
from typing import Any, ClassVar, Literal, Self, TypeVar

from sqlalchemy import Index, Integer, UniqueConstraint, text
from sqlalchemy.orm import declared_attr
from sqlmodel import Field
from typing_extensions import TypeIs

from app.catalogue.columns import (
    PUBLISHED_KIND,
    Boolean,
    Column,
    Number,
    OneOrMoreSlugs,
    OneOrMoreWheels,
    Slug,
    Text,
    column,
    describe,
)
from app.catalogue.columns import Integer as IntegerCell
from app.catalogue.metadata import OPEN, CatalogueModel, sql_type
from app.catalogue.words import Word

SCOPE = (
    "variant",
    "serial_from",
    "serial_to",
    "model_year_from",
    "model_year_to",
    "travel_from_mm",
    "travel_to_mm",
    "spring",
    "damper",
    "wheel_size",
    "fitted_part",
)
CLAIM = ("source", "page", "as_printed", "confirmed", "exception_to", "note")


MOST_CACHED = 4096  # recently read figures and lists: the same few recur
SPAN = ("revision_from", "revision_to")
R = TypeVar("R", bound="Row")


class RowValues:
    """Methods shared by a SQLModel table row and the light row used in bulk reads."""

    __slots__ = ()

    model: ClassVar[type["Row"]]
    """The table this row is of."""

    def stored(self) -> dict[str, Any]:
        """The values as the database holds them, in exchange order: figures and lists as their text."""
        fields = self.values()
        for name, write in _writers(self.model):
            value = fields[name]
            if value is not None:
                fields[name] = write(value)
        return fields

    def values(self) -> dict[str, Any]:
        """The values by column, in exchange order; None for missing values."""
        return {name: getattr(self, name) for name in self.model.columns()}

    def replaced(self, **columns: Any) -> Self:
        """A copy of the row with other values in some columns. The new values are not checked."""
        row: Self = light_row(self.model)(*{**self.values(), **columns}.values())
        return row

    def cells(self) -> dict[str, str]:
        """The row as text, in exchange order; missing values are empty."""
        return {
            name: "" if (value := getattr(self, name)) is None else described.kind.write(value)
            for name, described in self.model.columns().items()
        }

    def exchanged(self) -> dict[str, Any]:
        """The row as JSON, without missing values. Published figures are decimal strings, lists are lists."""
        given: dict[str, Any] = {}
        for name, value in self.values().items():
            if value is None:
                continue
            given[name] = [_shown(item) for item in value] if isinstance(value, tuple) else _shown(value)
        return given

    def __getitem__(self, column: str) -> Any:
        """The value of a column, for a row whose table is not known from its type."""
        return getattr(self, column)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, RowValues):
            return NotImplemented
        return self.model is other.model and self.values() == other.values()

    def __hash__(self) -> int:
        return hash((self.model.table, getattr(self, "id")))  # noqa: B009 - every table has an id


class Row(RowValues, CatalogueModel):
    """A row of one table with the span of revisions it holds for. `model_validate` takes values and checks them.

    A subclass with `table=True` is the SQL table. Rows read in bulk are light rows (`light_row`): they have the same
    columns and the methods of `RowValues`, and are typed as the table, but are no instances of it: ask `row.model`.
    """

    model_config = {"extra": "forbid"}  # noqa: RUF012

    table: ClassVar[str]
    meaning: ClassVar[str]
    role: ClassVar[Literal["entity", "statement"]] = "entity"
    wider_index: ClassVar[tuple[str, tuple[str, ...]] | None] = None
    """An index in place of the one by its first column alone."""

    id: Slug = column("readable name of this row, chosen by the author; never changes", required=True)
    revision_from: int = Field(default=0, primary_key=True, sa_type=Integer, sa_column_kwargs={"autoincrement": False})
    revision_to: int = Field(default=OPEN, sa_type=Integer)

    @classmethod
    def __pydantic_init_subclass__(cls, **more: Any) -> None:
        """Each described column is held as its kind says; SQLModel reads this from the field's metadata."""
        super().__pydantic_init_subclass__(**more)
        cls.model = cls
        cls.meaning = " ".join((cls.__doc__ or "").split())
        for name, field in cls.model_fields.items():
            if name not in SPAN:
                described = describe(name, field)
                field.metadata += Field(sa_type=sql_type(described.kind), primary_key=name == "id").metadata

    @declared_attr.directive
    def __tablename__(cls) -> str:  # noqa: N805 - SQLAlchemy passes the class
        return cls.table

    @declared_attr.directive
    def __table_args__(cls) -> tuple[Any, ...]:  # noqa: N805
        return _constraints(cls)  # type: ignore[arg-type]  # a method to mypy, of the class to SQLAlchemy

    as_printed: Text | None = column(
        "the words of the page, figures included, where the source prints something unusual",
        example="Foot bolts, hollow alloy: 2.2 N·m",
    )

    @classmethod
    @cache
    def columns(cls) -> dict[str, Column]:
        """The columns in exchange order: id, own columns with the scope after the chassis, the claim at the end."""
        names = [name for name in cls.model_fields if name not in SPAN]
        scope = [name for name in SCOPE if name in names] if "wheel_size" in names else []
        claim = [name for name in CLAIM if name in names]
        own = [name for name in names if name not in (*scope, *claim, "id")]
        if scope:
            if cls.role == "statement":
                own = ["chassis", *(name for name in own if name != "chassis")]
            at = own.index("chassis") + 1
            own = [*own[:at], *scope, *own[at:]]
        return {name: describe(name, cls.model_fields[name]) for name in ("id", *own, *claim)}

    @classmethod
    def checked(cls, values: Mapping[str, Any] | None = None, /, **columns: Any) -> Self:
        """The light row of values that `model_validate` accepts. Raises ValidationError.

        `model_validate` itself gives an instance of the SQLModel table. A call of the class checks nothing: SQLModel
        leaves that out for tables.
        """
        return cls.from_parsed(cls.model_validate({**(values or {}), **columns}).values())

    @classmethod
    def from_database(cls, values: Sequence[Any]) -> Self:
        """The light row for values as stored in the database, in exchange order.

        They were validated when they were written.
        """
        return cls.all_from_database((values,))[0]

    @classmethod
    def all_from_database(cls, rows: Iterable[Sequence[Any]]) -> list[Self]:
        """Like `from_database`, for many rows. A full check reads millions, so nothing is looked up twice."""
        new, converters = light_row(cls), _converters(cls)
        found: list[Any] = []
        for values in rows:
            cells = list(values)
            for place, convert in converters:
                value = cells[place]
                if value is not None:
                    cells[place] = convert(value)
            found.append(new(*cells))
        return found

    @classmethod
    def from_parsed(cls, fields: Mapping[str, Any]) -> Self:
        """The light row for values parsed by the column kinds. Every column is present, in exchange order."""
        row: Self = light_row(cls)(*fields.values())
        return row


def is_row_of(row: Row, table: type[R]) -> TypeIs[R]:
    """Whether a row, light or not, belongs to that table or to a table derived from it."""
    return issubclass(row.model, table)


@cache
def light_row(table: type[Row]) -> Any:
    """The class in which rows of a table are read in bulk: a slot for each column, in exchange order, and nothing else.

    Bulk reading goes through SQLAlchemy Core into these. Measured on the demo's rows, one after the other on a busy
    machine (best of 25): 1.3 to 2.0 µs a row, of which 0.3 µs are the object and the rest reads figures and lists. A
    pydantic object with its slots set by hand took 5.6 to 6.0 µs, `Session` 26 µs, `model_validate` 150 µs.
    """
    names = list(table.columns())
    made = make_dataclass(f"Light{table.__name__}", names, bases=(RowValues,), slots=True, eq=False)
    for name in ("table", "meaning", "role", "about", "model", "columns"):
        if hasattr(table, name):
            setattr(made, name, getattr(table, name))
    return made


def _constraints(table: type[Row]) -> tuple[object, ...]:
    """One open row per id, and indexes by reference, by exception and by both ends of the span."""
    columns = table.columns()
    references = [name for name, described in columns.items() if described.refers_to and described.kind.items is None]
    indexed = [*dict.fromkeys(name for name in ("chassis", *references, "part_number", "series") if name in columns)]
    further: list[Index] = []
    if "exception_to" in columns:  # very few rows are exceptions, so the index holds only those
        given = text("exception_to IS NOT NULL")
        name = f"ix_{table.table}_exceptions"
        further.append(Index(name, "exception_to", "revision_to", sqlite_where=given, postgresql_where=given))
    if "supersedes" in columns:  # very few sources replace one of another series
        given = text("supersedes IS NOT NULL")
        name = f"ix_{table.table}_superseding"
        further.append(Index(name, "supersedes", "revision_to", sqlite_where=given, postgresql_where=given))
    if table.wider_index is not None:
        name, wider = table.wider_index
        indexed.remove(wider[0])
        further.append(Index(name, *wider))
    return (
        UniqueConstraint("id", "revision_to"),
        *(Index(None, name, "revision_to") for name in indexed),
        Index(None, "revision_from", "id"),  # the changes of a revision, ordered by id
        Index(None, "revision_to", "id"),
        *further,
    )


def _shown(value: object) -> object:
    """A value as JSON: a figure as its digits, a word as written, a whole number without a decimal point."""
    if isinstance(value, Decimal):
        return str(value)
    if isinstance(value, Word):
        return value.written
    return int(value) if isinstance(value, float) and value == int(value) else value


@cache
def _converters(table: type[Row]) -> tuple[tuple[int, Callable[[object], object]], ...]:
    """The positions of stored values that need converting, each with its converter."""
    converters: list[tuple[int, Callable[[object], object]]] = []
    for place, described in enumerate(table.columns().values()):
        kind = described.kind
        if kind is PUBLISHED_KIND:
            converters.append((place, _figure))
        elif kind.items is not None or kind.words is not None:
            converters.append((place, lru_cache(MOST_CACHED)(kind.read)))
        elif kind.sql == "boolean":
            converters.append((place, bool))  # SQLite's driver gives 0 and 1
    return tuple(converters)


_figure = lru_cache(MOST_CACHED)(Decimal)


@cache
def _writers(table: type[Row]) -> tuple[tuple[str, Callable[[object], str]], ...]:
    return tuple(
        (name, described.kind.write)
        for name, described in table.columns().items()
        if described.kind is PUBLISHED_KIND or described.kind.items is not None or described.kind.words is not None
    )


def from_cells(model: type[Row], cells: Mapping[str, str]) -> dict[str, object]:
    """The values of some cells; empty cells are left out. Raises Unreadable at the first that cannot be parsed."""
    columns = model.columns()
    return {name: columns[name].kind.read(text) for name, text in cells.items() if text != ""}


class Entity(Row):
    """An entity, which statements are about, and the document that describes it."""

    source: Slug | None = column("document this row comes from", to="sources")
    page: Text | None = column("page or section of that document", example="14")


class ScopedRow(Row):
    """The scope of a row. An empty bound means the chassis's own; an empty name means any."""

    variant: OneOrMoreSlugs | None = column("applies to these variants only", to="variants")
    serial_from: Text | None = column(
        "first serial number, as stamped; a range contains only serials of the length of its ends", example="A22-0500"
    )
    serial_to: Text | None = column("last serial number, inclusive, as stamped", example="A22-0999")
    model_year_from: IntegerCell | None = column("first model year", unit="year", example="2022")
    model_year_to: IntegerCell | None = column("last model year, inclusive", unit="year", example="2025")
    spring: Slug | None = column("applies with this spring only", to="springs")
    damper: OneOrMoreSlugs | None = column("applies with these dampers only", to="dampers")
    wheel_size: OneOrMoreWheels | None = column(
        "applies to these wheel sizes only: ISO 5775 bead seat diameters", unit="mm", example="584;622"
    )
    fitted_part: Slug | None = column(
        "applies only if this part is fitted; parts of one kind exclude each other", to="parts"
    )


class TravelScopedRow(ScopedRow):
    """A scope that can also be limited by travel."""

    travel_from_mm: Number | None = column("shortest travel", unit="mm", example="140")
    travel_to_mm: Number | None = column("longest travel, inclusive", unit="mm", example="160")


class Claim(Row):
    """The source of a statement, and which wider statement it may contradict."""

    role: ClassVar[Literal["entity", "statement"]] = "statement"

    source: Slug | None = column("document that states this", to="sources")
    page: Text | None = column("page or section of that document", example="14")
    confirmed: Boolean | None = column("checked twice against the page", example="true")
    exception_to: Slug | None = column(
        "id of the wider statement about the same subject that this one overrides within its scope"
    )
    note: Text | None = column("anything a mechanic should know about this")
