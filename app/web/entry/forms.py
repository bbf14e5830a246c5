"""The form of a row, built from the description of its table.

At the top are the columns that are asked for, then the source; the rest is folded. A reference is picked by name. A row
that is not in the list can be entered in the same form, in fields named like `fluid-name`.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import get_args

from app.catalogue.columns import Column
from app.catalogue.rows import Snapshot
from app.catalogue.tables import CLAIM, SCOPE, TABLES, Chassis, Grease, Row
from app.catalogue.words import OWN, listed
from app.questions.job.choices import JobChoice
from app.standards.tables import rows as standard_rows
from app.units.definitions import Kind
from app.units.measure import WHEEL_NAMES, wheel_called
from app.units.table import units_of
from app.web.entry.bands import usual
from app.web.entry.choices import maker_of, name_of, offered
from app.web.forks.forms import FieldGroup, FormField
from app.web.representation.words import heading

WITH_IT: Mapping[str, tuple[str, ...]] = {
    "makers": ("name",),
    "sources": ("title", "edition", "published_on", "kind"),
    "springs": ("name", "maker", "kind", "negative", "part_number"),
    "dampers": ("name", "maker", "kind", "foot_joint", "adjuster_at"),
    "spacers": ("name", "volume_ml"),
    "parts": ("name", "kind", "maker", "part_number"),
    "fluids": ("name", "kind", "maker"),
    "fasteners": ("position", "side", "kind", "drives"),
}
"""The columns that are asked for a row that is entered together with the one that refers to it."""
CARRIED = ("next", "ask", "at", "seen", "sent")
"""Hidden fields: the way back, what is asked for, the number of the gap, the version read, the idempotency key."""
THEN = "then"
"""The button that goes on to the next gap."""
REASON = "reason"
_LABELLED_BY_MEANING = 45  # a longer meaning is a hint beside the name of the column
_SHORT = (
    "page", "edition", "part_number", "size", "side", "thread", "model_code", "serial_pattern", "serial_from",
    "serial_to", "property_class", "turns",
)  # fmt: skip
"""Texts of a few characters."""
_WHEELS = ("wheel_sizes", "wheel_size", "wheel_front", "wheel_rear")
_TYPED = {"whole number": "whole", "number": "number", "figure as published": "number"}
_YES_NO = (("true", "yes"), ("false", "no"))


@dataclass(frozen=True, slots=True)
class EntryForm:
    """The fields of a row. `with_it` are the tables of the rows that can be entered with it, by the column."""

    table: type[Row]
    groups: list[FieldGroup]
    with_it: dict[str, type[Row]] = field(default_factory=dict)

    @property
    def names(self) -> list[str]:
        """The names of all fields, as a browser sends them."""
        return [*CARRIED, THEN, *(name for each in self.fields() for name in _sent_as(each))]

    def fields(self) -> Iterator[FormField]:
        """All fields that are shown."""
        for group in self.groups:
            yield from group.fields


def entry_form(
    snapshot: Snapshot, table: type[Row], typed: Mapping[str, str], asked: Sequence[str], *, words: bool = False
) -> EntryForm:
    """The form of a row with these values. `words`: a figure is unusual, so the words of the page are asked for."""
    columns = {name: column for name, column in table.columns().items() if name != "id"}
    shown = [name for name in dict.fromkeys(asked) if name in columns] or _own(table)
    with_it = _with_it(columns, [*shown, "source"])
    builder = _Builder(snapshot, table, typed)
    shown = [name for name in shown if name not in with_it or builder.offers(name)]
    groups = [FieldGroup(heading(kind_of(table)), builder.fields(shown, needed=True))]
    groups += [builder.group_of(name, other) for name, other in with_it.items() if name != "source"]
    if words:
        groups.append(FieldGroup("The words of the page", builder.fields(["as_printed"]), WORDS))
    cited = [name for name in ("source", "page") if name in columns and (name != "source" or builder.offers(name))]
    groups.append(FieldGroup("Source", builder.fields(cited)))
    if "source" in with_it:
        groups.append(builder.group_of("source", with_it["source"]))
    taken = {*shown, *with_it, "source", "page", *(["as_printed"] if words else [])}
    scope = [
        name for name in ("chassis", *SCOPE) if name in columns and name not in taken and "exception_to" in columns
    ]
    rest = [name for name in columns if name not in taken and name not in scope]
    groups.append(FieldGroup("Applies to", builder.fields(scope), "Empty means any.", folded=True))
    groups.append(FieldGroup("More", [*builder.fields(rest), _REASON_FIELD], folded=True))
    return EntryForm(table, [group for group in groups if group.fields], with_it)


def kind_of(table: type[Row]) -> str:
    """The name of one row of a table."""
    return _KINDS.get(table.table, table.table.removesuffix("s"))


_FASTENERS = ("bolt", "nut", "cap")
_KINDS = {
    "chassis": "fork",
    "fluids": "oil or grease",
    "uses": "part for a job",
    "guides": "published set-up",
    "torques": "torque",
    "fits": "spring that fits",
}
WORDS = (
    "If the page prints it so, copy its words here, figures included. Without them an unusual figure is not stored. "
    "If it is a slip, correct it above."
)
_REASON_FIELD = FormField(REASON, f"/{REASON}", hint="why; it is public and stays in the history", words="Reason")


def _own(table: type[Row]) -> list[str]:
    """The columns that say what a row is about and what it states, without scope and source."""
    outside = (
        {"id", *SCOPE, *CLAIM, "as_printed"} if "exception_to" in table.columns() else {"id", *CLAIM, "as_printed"}
    )
    required = {name for name, column in table.columns().items() if column.required}
    return [name for name in table.columns() if name not in outside or name in required - {"id"}]


def stated(table: type[Row]) -> list[str]:
    """What a correction asks for: of a statement what it says, not what it is about, which never changes."""
    subject = {*getattr(table, "about", ()), "chassis"} if table.role == "statement" else set()
    return [name for name in _own(table) if name not in subject]


def _with_it(columns: Mapping[str, Column], asked: Sequence[str]) -> dict[str, type[Row]]:
    found: dict[str, type[Row]] = {}
    for name in dict.fromkeys(asked):
        target = columns[name].refers_to if name in columns and name != "superseded_by" else None
        if target is not None and target in WITH_IT:
            found[name] = TABLES[target]
    return found


def names_of(snapshot: Snapshot, table: type[Row]) -> list[str]:
    """The names of all fields that any form of this table may have."""
    columns = table.columns()
    whole = entry_form(snapshot, table, {}, [])
    beside = [
        field_name(outer, name) for outer, other in _with_it(columns, list(columns)).items()
        for name in WITH_IT[other.table]
    ]  # fmt: skip
    return list(dict.fromkeys([*whole.names, *(name for name in columns if name != "id"), *beside]))


def field_name(outer: str, column: str) -> str:
    """The name of a field: of the row itself, or of the row that the column `outer` refers to."""
    return f"{outer}-{column}" if outer else column


def _sent_as(each: FormField) -> list[str]:
    """A browser sends one field for each tick."""
    return [f"{each.name}.{value}" for value, _ in each.choices] if each.kind == "ticks" else [each.name]


@dataclass(frozen=True, slots=True)
class _Builder:
    snapshot: Snapshot
    table: type[Row]
    typed: Mapping[str, str]

    def fields(self, names: Sequence[str], *, needed: bool = False) -> list[FormField]:
        """`needed`: the browser asks for required values. It cannot show a field of a folded group that lacks one."""
        return [self._field(self.table, name, "", needed=needed) for name in names]

    def offers(self, name: str) -> bool:
        """Whether there is any row that a column can refer to."""
        found = offered(self.snapshot, self.table, self.table.columns()[name], self.typed)
        return found is None or bool(found)

    def group_of(self, outer: str, table: type[Row]) -> FieldGroup:
        """The fields of a row that is not in the list of a column."""
        fields = [self._field(table, name, outer) for name in WITH_IT[table.table]]
        folded = self.offers(outer)
        said = kind_of(table)
        return FieldGroup(f"A {said} that is not in the list" if folded else f"The {said}", fields, folded=folded)

    def _field(self, table: type[Row], name: str, outer: str, *, needed: bool = False) -> FormField:
        column = table.columns()[name]
        own = field_name(outer, name)
        meaning = column.meaning[:1].upper() + column.meaning[1:]
        unit = f", {column.unit}" if column.unit and column.unit != "year" and name not in _WHEELS else ""
        short = len(meaning) <= _LABELLED_BY_MEANING
        hints = [] if short else [column.meaning]
        if band := usual(self.snapshot, table, column, self.typed):
            hints.append(band)
        kind, choices = self._choices(table, column)
        if kind == "list":
            hints.append("several: separate them with a semicolon")
        elif kind == "offered":
            hints.append(f"pick one, or write {OWN} and a word of your own")
        elif kind == "named":
            hints.append("type its name or part number")
            if (id := self.typed.get(own)) and column.refers_to is not None:
                hints.append(f"now {name_of(self.snapshot, TABLES[column.refers_to], id)}")
        if column.example and not choices and kind != "named":
            hints.append(f"for example {column.example}")
        return FormField(
            own, f"/{own}", "words" if kind in ("list", "named") else kind, "; ".join(hints), choices,
            needed and column.required and column.refers_to is None, f"{meaning if short else heading(name)}{unit}",
        )  # fmt: skip

    def _choices(self, table: type[Row], column: Column) -> tuple[str, Sequence[JobChoice]]:
        """The kind of the field, and its options."""
        several = column.kind.items is not None
        if column.refers_to is not None or column.name == "exception_to":
            found = offered(self.snapshot, table, column, self.typed if table is self.table else {})
            return ("named" if found is None else "ticks" if several and found else "text"), self._chosen_first(
                column, found or ()
            )
        if column.name in _WHEELS:
            return "ticks" if several else "text", self._chosen_first(column, _wheels())
        if column.kind.words is not None:
            return "offered", [(option, option) for option in listed(column.kind.words)]
        if column.options:
            return "text", [(option, option) for option in column.options]
        if column.kind.name == "true or false":
            return "text", _YES_NO
        if column.measures in get_args(Kind) and column.unit_column is None:
            kind: Kind = column.measures  # type: ignore[assignment]
            return "text", [(unit.name, unit.name) for unit in units_of(kind)]
        if several:
            return "list", ()
        if column.name in ("as_printed", "note", "text", "caution"):
            return "lines", ()
        if column.kind.name == "text" and column.name not in _SHORT:
            return "words", ()
        return _TYPED.get(column.kind.name, "text"), ()

    def _chosen_first(self, column: Column, choices: Sequence[JobChoice]) -> Sequence[JobChoice]:
        """The choices of ticks with those that are set first, so that a list keeps its order."""
        chosen = self.typed.get(column.name, "").split(";") if column.kind.items is not None else []
        return sorted(choices, key=lambda choice: chosen.index(choice[0]) if choice[0] in chosen else len(chosen))


def _wheels() -> list[JobChoice]:
    """The wheel sizes of ISO 5775: those with a name in the trade first, then by size."""
    sizes = [int(row["bead_seat_diameter_mm"]) for row in standard_rows("bead-seats")]
    sizes.sort(key=lambda size: (size not in WHEEL_NAMES.values(), -size))
    return [(str(size), wheel_called(size)) for size in sizes]


def defaults(snapshot: Snapshot, form: EntryForm, typed: Mapping[str, str]) -> dict[str, str]:
    """What a new row has unless something else is picked: a foot bolt is a bolt, a spring is from the fork's maker."""
    chassis = typed.get("chassis", "")
    maker = typed.get("maker", "") if form.table is Chassis else maker_of(snapshot, chassis)
    found = {"source-kind": "manual"} if "source" in form.with_it else {}
    if "fluid" in form.with_it:
        bathed = any(word in typed.get("chamber", "") for word in ("leg", "foam"))
        found["fluid-kind"] = "grease" if form.table is Grease else "bath oil" if bathed else ""
    found["fastener-kind"] = next(
        (word for word in _FASTENERS if typed.get("fastener-position", "").endswith(word)), ""
    )
    if maker:
        found |= {
            field_name(name, "maker"): maker
            for name, table in form.with_it.items()
            if table.table in ("springs", "dampers")
        }
    return found
