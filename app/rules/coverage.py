"""Which rules check which column: derived from the columns each rule reads, so the matrix always matches the code.

A row rule gives its columns in `reads`. For any other rule, the source is followed through the functions of this
package that it calls. A column counts as read if its name occurs there and the rule sees its table.
"""

import ast
import inspect
import textwrap
from collections import defaultdict
from collections.abc import Callable, Iterator
from functools import cache, cached_property
from types import FunctionType
from typing import Literal

from app.catalogue.agreement import value_columns
from app.catalogue.tables import (
    SCOPE,
    STATEMENTS,
    TABLES,
    Chassis,
    Damper,
    Fastener,
    Fluid,
    Part,
    Row,
    Source,
    Spacer,
    Spring,
    SpringChamber,
    Step,
    Tool,
    Variant,
)
from app.rules import checks as checks  # registers the rules
from app.rules.family import Family
from app.rules.registry import RULES, Rule

Category = Literal["word or band", "reference", "in its row", "across rows", "completeness"]
CATEGORIES: tuple[Category, ...] = ("word or band", "reference", "in its row", "across rows", "completeness")
SEEN_AS: dict[str, type[Row]] = {
    "springs": Spring, "dampers": Damper, "spacers": Spacer, "parts": Part, "fluids": Fluid, "sources": Source,
    "fasteners": Fastener, "own_fasteners": Fastener, "tightened": Fastener, "variants": Variant,
    "all_variants": Variant, "chassis": Chassis, "air_fits": Spring, "referrers": Step,
    "chambers": SpringChamber,
}  # fmt: skip
COMPARED = ("shared_subjects", "differences")  # compare all values of a statement

# Why nothing checks a column except reading its cell.
UNCHECKED: dict[str, str] = {
    "series": "a name that only the maker knows",
    "invented": "describes the document, not its contents",
    "steerers": "free text until the names of steerers are a closed list",
    "steerer": "free text until the names of steerers are a closed list",
    "marks": "free text that only the fork shows",
    "drives": "checked against the tools for fasteners, not for the key of a spacer",
    "counterpart_material": "the proof load of the part it goes into is not known",
    "measures": "free text",
    "caution": "free text",
}


@cache
def coverage() -> dict[tuple[str, str], dict[Category, tuple[str, ...]]]:
    """The slugs of the rules that check each table and column, by category. Reading checks every column."""
    found: dict[tuple[str, str], dict[Category, set[str]]] = defaultdict(lambda: defaultdict(set))
    for table in TABLES.values():
        for name, column in table.columns().items():
            if column.options:
                found[table.table, name]["word or band"].add("cell-unreadable")
            if column.kind.words is not None:
                found[table.table, name]["word or band"].update(("word-unknown", "word-own"))
            if column.refers_to is not None or name == "exception_to":
                found[table.table, name]["reference"].add("reference-missing")
    for rule in RULES.values():
        if rule.judge is None or rule.slug == "reference-missing":
            continue
        for table, name in _read(rule):
            found[table.table, name][_category(rule, table, name)].add(rule.slug)
    return {key: {category: tuple(sorted(slugs)) for category, slugs in each.items()} for key, each in found.items()}


def unchecked() -> list[tuple[str, str]]:
    """The columns that only reading checks and that have no reason in UNCHECKED."""
    checked = coverage()
    return [
        (table.table, name)
        for table in TABLES.values()
        for name in table.columns()
        if not checked.get((table.table, name)) and name not in UNCHECKED
    ]


def _category(rule: Rule, table: type[Row], name: str) -> Category:
    if rule.nature == "completeness":
        return "completeness"
    if rule.shape == "row":
        alone = rule.reads is not None and len(rule.reads(table)) == 1
        return "word or band" if alone or rule.slug.endswith(("implausible", "unusual")) else "in its row"
    return "word or band" if rule.slug.endswith(("band", "implausible")) else "across rows"


def _read(rule: Rule) -> Iterator[tuple[type[Row], str]]:
    """The columns that a rule reads, with their tables."""
    assert rule.judge is not None
    own = rule.tables or STATEMENTS
    if rule.reads is not None:
        for table in own:
            for name in rule.reads(table):
                yield table, name
        return
    words = _words(rule.judge)
    seen = {*own, *rule.beside, *(table for name, table in SEEN_AS.items() if name in words)}
    if rule.slug == "no-tool-for-drive":
        seen.add(Tool)
    for table in seen:
        compared = issubclass(table, STATEMENTS) and not words.isdisjoint(COMPARED)
        for name in table.columns():
            if name in words or (name in SCOPE and "scope" in words) or (compared and name in value_columns(table)):  # type: ignore[arg-type]
                yield table, name


def _words(function: Callable[..., object]) -> frozenset[str]:
    """Every attribute and text in a function and in the functions of this package that it calls."""
    found: set[str] = set()
    waiting: list[Callable[..., object]] = [function]
    done: set[object] = set()
    while waiting:
        each = waiting.pop()
        if each in done:
            continue
        done.add(each)
        names = _named(each)
        found |= names
        waiting += [
            other
            for name in names
            for other in (getattr(each, "__globals__", {}).get(name), _method(name))
            if isinstance(other, FunctionType) and other.__module__.startswith("app.rules")
        ]
        found |= {
            text
            for name in names
            for text in _texts(getattr(each, "__globals__", {}).get(name))
        }  # fmt: skip
    return frozenset(found)


def _method(name: str) -> object:
    """The method or cached property of a family with that name."""
    found = getattr(Family, name, None)
    return found.func if isinstance(found, cached_property) else found


def _texts(value: object) -> Iterator[str]:
    """The texts in a module constant."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple | list | frozenset | set):
        for each in value:
            yield from _texts(each)
    elif isinstance(value, dict):
        for key, each in value.items():
            yield from _texts(key)
            yield from _texts(each)


@cache
def _named(function: Callable[..., object]) -> frozenset[str]:
    """The names, attributes and texts of one function, without its docstring and decorators."""
    tree = ast.parse(textwrap.dedent(inspect.getsource(inspect.unwrap(function))))
    body = tree.body[0]
    assert isinstance(body, ast.FunctionDef)
    statements = body.body[1:] if ast.get_docstring(body) else body.body
    found: set[str] = set()
    for statement in statements:
        for node in ast.walk(statement):
            if isinstance(node, ast.Attribute):
                found.add(node.attr)
            elif isinstance(node, ast.Name):
                found.add(node.id)
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                found.add(node.value)
    return frozenset(found)


def matrix() -> str:
    """The matrix as Markdown tables: the rules of each category that check each column, or why none does."""
    checked = coverage()
    lines = []
    for table in TABLES.values():
        lines += [
            f"### {table.table}",
            "",
            f"| column | {' | '.join(CATEGORIES)} |",
            "|---|" + "---|" * len(CATEGORIES),
        ]
        for name in table.columns():
            own = checked.get((table.table, name), {})
            cells = [_cell(own.get(category, ())) for category in CATEGORIES]
            if not own:
                cells = [UNCHECKED[name], *[""] * (len(CATEGORIES) - 1)]
            lines.append(f"| `{name}` | {' | '.join(cells)} |")
        lines.append("")
    return "\n".join(lines)


def _cell(slugs: tuple[str, ...]) -> str:
    shown = ", ".join(slugs[:2])
    return shown if len(slugs) <= 2 else f"{shown} and {len(slugs) - 2} more"
