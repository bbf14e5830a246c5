"""The consistency rules of the catalogue, and the findings of a revision."""

from collections.abc import Sequence
from functools import lru_cache
from typing import Annotated, NotRequired

from pydantic import Field, TypeAdapter
from rapidfuzz import process
from sqlalchemy import RowMapping, bindparam, func, select
from typing_extensions import TypedDict

from app.catalogue.present import CANDIDATES, Candidate
from app.catalogue.rows import Snapshot
from app.catalogue.search import LEAST
from app.catalogue.stored import FINDINGS, Query
from app.catalogue.tables import TABLES, Source
from app.errors import Invalid, NotFound
from app.json_types import JsonObject
from app.questions.answers.cautions import cautions
from app.questions.answers.cursors import Cursor, NextCursor
from app.questions.answers.views import Caution
from app.questions.tables.listing import Paged, sources_of
from app.rules import checks as checks  # registers the rules
from app.rules.finding import FindingShape, Severity
from app.rules.registry import RULES, Nature, RowEdit, Rule, RuleShape


class Cell(TypedDict):
    """The new value of one column."""

    column: str
    text: str


class ExampleEdit(TypedDict):
    """One row of a small clean catalogue, with these cells changed (or new)."""

    table: str
    id: str
    cells: list[Cell]


class RuleRow(TypedDict):
    """One consistency check.

    `shape` is what it sees: a row, a family, an entity with its referrers, a change, or a package while it is read.
    """

    id: str
    family: str
    shape: RuleShape
    severity: Severity
    nature: Annotated[
        Nature,
        Field(
            description="`impossible` is refused whatever the page says; `implausible` until the row carries "
            "`as_printed`, the words of the page with the figure in them; `advice` and `completeness` only warn."
        ),
    ]
    what: str
    why: str
    fix: str
    silenced_by: list[str]
    tables: Annotated[list[str], Field(description="Tables whose rows it checks; empty means all.")]
    passes: NotRequired[ExampleEdit]
    fails: NotRequired[ExampleEdit]
    printed: Annotated[
        NotRequired[ExampleEdit], Field(description="The failing example with the words of the page: accepted.")
    ]
    findings: Annotated[str, Field(description="Address of what it finds in the present catalogue.")]


class RuleList(TypedDict):
    """All rules, by family."""

    total: int
    rules: list[RuleRow]


class FindingRow(FindingShape):
    """A warning, or a fault that a later rule refuses, and the revision since which it is known."""

    revision_from: int


class FindingList(TypedDict):
    """The findings of a revision, by table, row and rule; `next` is absent on the last page."""

    revision: int
    total: int
    findings: list[FindingRow]
    next: NotRequired[str]
    next_cursor: NotRequired[NextCursor]
    cautions: list[Caution]


RULE, RULE_LIST, FINDING_LIST = TypeAdapter(RuleRow), TypeAdapter(RuleList), TypeAdapter(FindingList)


class FindingsAsked(Paged):
    """The parameters of the list of warnings."""

    rule: str | None = Field(default=None, max_length=80, description="Only from this rule.")
    table: str | None = Field(
        default=None, max_length=80, description="Only about rows of this table.", json_schema_extra={"enum": [*TABLES]}
    )
    id: str | None = Field(default=None, max_length=80, description="In the row of this id.")
    severity: Severity | None = Field(default=None, description="Of this severity.")
    accepted: bool | None = Field(
        default=None,
        description="true: only what is unusual but accepted, because the row carries the words of the page "
        "(`as_printed`). Left out or false: everything else.",
    )


def rule_list(family: str | None, severity: Severity | None, shape: RuleShape | None) -> RuleList:
    """The rules of a family, severity and shape; all by default. Raises Invalid for an unknown family."""
    families = dict.fromkeys(rule.family for rule in RULES.values())
    if family is not None and family not in families:
        text = f"There is no family {family[:40]}; the families are {', '.join(families)}."
        raise Invalid.one("not-a-choice", text, parameter="family", suggestion=_nearest(family, list(families)))
    wanted = {"family": family, "severity": severity, "shape": shape}
    found = [
        rule
        for rule in RULES.values()
        if all(value is None or getattr(rule, name) == value for name, value in wanted.items())
    ]
    found.sort(key=lambda rule: (list(families).index(rule.family), rule.slug))
    return {"total": len(found), "rules": [_rule_row(rule) for rule in found]}


def one_rule(slug: str) -> RuleRow:
    """The rule with this slug. Raises NotFound with similar ones."""
    if slug not in RULES:
        found = process.extract(slug, list(RULES), score_cutoff=100 * LEAST, limit=CANDIDATES)
        near: list[Candidate] = [{"id": name, "score": round(score / 100, 4)} for name, score, _ in found]
        raise NotFound("There is no rule with this name.", candidates=near)
    return _rule_row(RULES[slug])


def finding_list(snapshot: Snapshot, asked: FindingsAsked, cursor: Cursor | None) -> JsonObject:
    """A page of warnings. Raises Invalid for an unknown rule or table."""
    for parameter, value, known in (("rule", asked.rule, [*RULES]), ("table", asked.table, [*TABLES])):
        if value is not None and value not in known:
            text = f"There is no {parameter} {value}."
            raise Invalid.one("not-a-choice", text, parameter=parameter, suggestion=_nearest(value, known))
    given = {_COLUMNS[name]: value for name in _COLUMNS if (value := getattr(asked, name)) is not None}
    accepted = bool(asked.accepted) or asked.severity == "accepted"
    values = {**{f"v_{name}": value for name, value in given.items()}, "n": snapshot.revision, "most": asked.limit + 1}
    page, count = _statements(tuple(sorted(given)), accepted, cursor is not None)
    if cursor is not None:
        values["after"] = cursor.place[0]
    found = snapshot.connection.execute(page, values).mappings().fetchall()
    total = snapshot.connection.execute(count, values).scalar_one() if cursor is None else cursor.total
    rows = found[: asked.limit]
    answer: JsonObject = {
        "revision": snapshot.revision,
        "total": total,
        "findings": [_finding_row(row) for row in rows],
    }
    if len(found) > asked.limit:
        answer["next"] = asked.write_cursor(
            "findings", Cursor(snapshot.revision, total, (rows[-1]["place"],), snapshot.head.lineage)
        )
    answer["cautions"] = cautions(sources=_sources_of(snapshot, rows))
    return answer


_COLUMNS = {"rule": "rule", "table": "in_table", "id": "row_id", "severity": "severity"}


@lru_cache(maxsize=64)
def _statements(given: tuple[str, ...], accepted: bool, goes_on: bool) -> tuple[Query, Query]:
    stored = FINDINGS.c
    # Below " " nothing sorts that a table, an id or a slug may contain, so the joined text sorts like the three parts.
    place = stored.in_table + " " + func.coalesce(stored.row_id, "") + " " + stored.rule + " " + stored.id
    context = [stored.revision_from <= bindparam("n"), stored.revision_to > bindparam("n")]
    context += [stored[name] == bindparam(f"v_{name}") for name in given]
    context.append(stored.severity == "accepted" if accepted else stored.severity != "accepted")
    page = select(FINDINGS, place.label("place")).where(*context).order_by(place).limit(bindparam("most"))
    if goes_on:
        page = page.where(place > bindparam("after"))
    return page, select(func.count()).select_from(FINDINGS).where(*context)


def _sources_of(snapshot: Snapshot, rows: Sequence[RowMapping]) -> list[Source]:
    """The sources of the rows that findings are about."""
    ids: dict[str, set[str]] = {}
    for row in rows:
        if row["row_id"] is not None:
            ids.setdefault(row["in_table"], set()).add(row["row_id"])
    return sources_of(snapshot, [row for name, of in ids.items() for row in snapshot.many(TABLES[name], of).values()])


def _finding_row(row: RowMapping) -> FindingRow:
    shown: JsonObject = {"rule": row["rule"], "severity": row["severity"], "table": row["in_table"]}
    for name, column in (("id", "row_id"), ("column", "in_column"), ("value", "value")):
        if row[column] is not None:
            shown[name] = row[column]
    shown["text"] = row["text"]
    if row["collides_id"] is not None:
        shown["collides_with"] = {"table": row["collides_table"], "id": row["collides_id"]}
    rule = RULES.get(row["rule"])
    shown["fix"] = row["fix"] or ("" if rule is None else rule.fix)
    shown["revision_from"] = row["revision_from"]
    return shown  # type: ignore[return-value]


def _rule_row(rule: Rule) -> RuleRow:
    row: RuleRow = {
        "id": rule.slug,
        "family": rule.family,
        "shape": rule.shape,
        "severity": rule.severity,
        "nature": rule.nature,
        "what": rule.what,
        "why": rule.why,
        "fix": rule.fix,
        "silenced_by": list(rule.silenced_by),
        "tables": [table.table for table in rule.tables],
        "findings": f"/v1/findings?rule={rule.slug}",
    }
    if rule.passes is not None:
        row["passes"] = _example(rule.passes)
    if rule.fails is not None:
        row["fails"] = _example(rule.fails)
    if rule.printed is not None:
        row["printed"] = _example(rule.printed)
    return row


def _example(edit: RowEdit) -> ExampleEdit:
    return {
        "table": edit.table,
        "id": edit.id,
        "cells": [{"column": name, "text": text} for name, text in edit.cells.items()],
    }


def _nearest(name: str, known: list[str]) -> str | None:
    best = process.extractOne(name, known, score_cutoff=100 * LEAST)
    return best[0] if best else None
