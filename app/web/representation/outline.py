"""Turns any answer into headings, pairs, tables and lists of words, for pages and texts without a layout of their own.

Nothing in an answer is left out. A quantity is shown by its text, and ids of the catalogue become links.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from app.web.representation import words
from app.web.representation.answer import Answer

MOST_COLUMNS = 6
WIDEST_CELL = 48


@dataclass(frozen=True, slots=True)
class WordList:
    """A single value. `href` leads to a row; `figure` is set larger."""

    text: str
    href: str | None = None
    figure: bool = False
    kind: str = "words"


@dataclass(frozen=True, slots=True)
class Pairs:
    """Named values."""

    rows: Sequence[tuple[str, "Node"]]
    kind: str = "pairs"


@dataclass(frozen=True, slots=True)
class Grid:
    """Rows with the same columns; an absent value is None."""

    columns: Sequence[str]
    rows: Sequence[Sequence[WordList | None]]
    kind: str = "grid"


@dataclass(frozen=True, slots=True)
class Items:
    """Several items that do not fit a table."""

    items: Sequence["Node"]
    kind: str = "items"


Node = WordList | Pairs | Grid | Items


@dataclass(frozen=True, slots=True)
class Section:
    """A part of an answer under its heading."""

    name: str
    heading: str
    node: Node


def sections(answer: Answer, *without: str) -> Iterator[Section]:
    """The members of an answer that are not empty: first single values as pairs, then a section for each other one."""
    left = {name: value for name, value in answer.items() if name not in without and value not in ([], {})}
    single = {name: value for name, value in left.items() if not isinstance(value, list | dict)}
    if single:
        yield Section("", "", node_of("", single))
    for name, value in left.items():
        if name not in single:
            yield Section(name, words.heading(name), node_of(name, value))


def node_of(name: str, value: Any) -> Node:
    """The outline of one member."""
    if is_quantity(value):
        return WordList(words.quantity_text(value), figure=True)
    if isinstance(value, Mapping):
        if set(value) == {"code", "text"}:
            return WordList(str(value["text"]))
        if name == "source" and "title" in value:
            return WordList(words.source_words(value), link_of(name, value["id"]))
        if set(value) <= {"id", "name"}:
            return WordList(words.plain(value.get("name", value.get("id"))), link_of(name, value.get("id")))
        there = {key: inner for key, inner in value.items() if inner not in ([], {})}
        return Pairs([(words.label(key), node_of(_owner(name, key), inner)) for key, inner in there.items()])
    if isinstance(value, list):
        return _several(name, value)
    return WordList(words.with_unit(name, value), link_of(name, value))


def is_quantity(value: object) -> bool:
    """Whether a value is a quantity of an answer."""
    return isinstance(value, dict) and "text" in value and "ucum" in value and "kind" in value


def link_of(name: str, value: object) -> str | None:
    """The link for an id or address in a member; always an address of ours."""
    if not isinstance(value, str):
        return None
    if name in ("href", "self", "history", "findings", "changes", "next", "next_cursor"):
        return value if value.startswith("/") and not value.startswith("//") else None
    table = words.TABLE_OF.get(name.rpartition(".")[2])
    return f"/v1/{table}/{value}" if table and words.is_slug(value) else None


def _owner(name: str, key: str) -> str:
    """Under `spring`, `id` is a spring; under anything else the member's own name decides."""
    return name if key == "id" else key


def _several(name: str, values: list[object]) -> Node:
    if values and all(isinstance(value, Mapping) and not is_quantity(value) for value in values):
        nodes = [node_of(name, value) for value in values]
        if all(isinstance(node, WordList) for node in nodes):
            return Items(nodes)
        return _grid(name, values) or Items(nodes)
    if all(not isinstance(value, list | Mapping) or is_quantity(value) for value in values):
        linked = [node_of(name, value) for value in values]
        if any(isinstance(node, WordList) and node.href for node in linked):
            return Items(linked)
        return WordList(", ".join(node.text for node in linked if isinstance(node, WordList)))
    return Items([node_of(name, value) for value in values])


def _grid(name: str, values: list[Any]) -> Grid | None:
    """A table, if the rows are flat, short and similar enough; otherwise None."""
    rows = [dict(_leaves(value, name)) for value in values]
    columns = list(dict.fromkeys(column for row in rows for column in row))
    if len(columns) > MOST_COLUMNS or len(rows) < 2:
        return None
    cells: list[list[WordList | None]] = []
    for row in rows:
        line: list[WordList | None] = []
        for column in columns:
            cell = row.get(column)
            if cell is not None and (not isinstance(cell, WordList) or len(cell.text) > WIDEST_CELL):
                return None
            line.append(cell)
        cells.append(line)
    return Grid([words.label(column) for column in columns], cells)


def _leaves(value: Answer, name: str) -> Iterator[tuple[str, Node]]:
    for key, inner in value.items():
        node = node_of(_owner(name, key), inner)
        if isinstance(node, Pairs) and isinstance(inner, Mapping):
            yield from ((f"{key}.{column}", leaf) for column, leaf in _leaves(inner, key))
        else:
            yield key, node
