"""The shape of one search result: a row, or a figure of a fork with the scope that limits it."""

from collections.abc import Sequence
from typing import NamedTuple, NotRequired

from typing_extensions import TypedDict

from app.catalogue.rows import Snapshot
from app.catalogue.tables import Chassis, Fluid, Frame, Maker, Part, Row, Source, Spring, is_row_of
from app.questions.answers.statement_views import StatementView
from app.questions.answers.views import ScopeView, SourceRef, source_ref
from app.questions.tables.links import href
from app.units.quantity import Quantity


class ScopeException(TypedDict):
    """Another statement that takes the place of this one within a narrower scope."""

    id: str
    scope: ScopeView


class SearchHit(TypedDict):
    """One result. `kind` says what it is: a torque, oil, part, fork …

    A figure of a fork has `of`, the fork with its years, and `scope`, which limits it further; `href` is the sheet.
    For any other row `href` is the row. `score` is 1 if every word was found as it was typed.
    """

    table: str
    id: str
    kind: str
    name: str
    of: NotRequired[str]
    maker: NotRequired[str]
    part_number: NotRequired[str]
    figure: NotRequired[Quantity]
    detail: str
    scope: NotRequired[ScopeView]
    exceptions: NotRequired[list[ScopeException]]
    note: NotRequired[str]
    source: NotRequired[SourceRef]
    href: str
    score: float


class ForkFigure(NamedTuple):
    """A result with the texts by which it is found: the name of its place, and all others."""

    hit: SearchHit
    place: Sequence[str]
    words: Sequence[str]


KINDS = {
    "chassis": "fork", "procedures": "order of work", "fluids": "oil or grease", "makers": "maker", "sources": "source",
}  # fmt: skip
_SPANS = (("model_year_from", "model_year_to", ""), ("travel_min_mm", "travel_max_mm", " mm"))


def fork_name(chassis: Chassis, maker: Maker | None) -> str:
    """Maker, name and model years: generations of one name differ by the last."""
    name = chassis.name if maker is None else f"{maker.name} {chassis.name}"
    return " ".join([name, *_span(chassis, "model_year_from", "model_year_to", "")])


def claim(table: str, kind: str, name: str, view: StatementView, detail: Sequence[str]) -> SearchHit:
    """A statement as a result, with its scope, note and source."""
    hit: SearchHit = {
        "table": table, "id": view["id"], "kind": kind, "name": name[:1].upper() + name[1:],
        "detail": ", ".join(text for text in detail if text), "scope": view["scope"], "href": "", "score": 0.0,
    }  # fmt: skip
    if "note" in view:
        hit["note"] = view["note"]
    if "source" in view:
        hit["source"] = view["source"]
    return hit


def with_figure(hit: SearchHit, figure: Quantity | None) -> SearchHit:
    """The result with its figure, if there is one."""
    if figure is not None:
        hit["figure"] = figure
    return hit


def row_hits(snapshot: Snapshot, found: list[tuple[Row, float]]) -> list[SearchHit]:
    """Rows as search results, with their scores."""
    rows = [row for row, _ in found]
    makers = snapshot.many(Maker, {maker for row in rows if (maker := row.values().get("maker"))})
    sources = snapshot.many(Source, {source for row in rows if (source := row.values().get("source"))})
    hits = [_row_hit(row, score, makers.get(row.values().get("maker") or ""), sources) for row, score in found]
    for (row, _), hit in zip(found, hits, strict=True):
        if (newer := row.values().get("superseded_by")) and (then := snapshot.one(row.model, newer)) is not None:
            called = " ".join(text for text in (then["name"], then["part_number"]) if text)
            hit["detail"] = ", ".join(text for text in (hit["detail"], f"superseded by {called}") if text)
    return hits


def _row_hit(row: Row, score: float, maker: Maker | None, sources: dict[str, Source]) -> SearchHit:
    fields = row.values()
    name = fields.get("name") or fields.get("title") or row.id
    shown: SearchHit = {
        "table": row.table,
        "id": row.id,
        "kind": KINDS.get(row.table, row.table.removesuffix("s")),
        "name": f"{maker.name} {name}" if maker is not None and not name.startswith(maker.name) else name,
        "detail": ", ".join(_details(row)),
        "href": href(row.model, row.id),
        "score": score,
    }
    if maker is not None:
        shown["maker"] = maker.name
    if fields.get("part_number") is not None:
        shown["part_number"] = fields["part_number"]
    if "page" in fields and (source := source_ref(row, sources)) is not None:
        shown["source"] = source
    return shown


def _details(row: Row) -> list[str]:
    """The known details that distinguish rows with the same name: years, travel, size, number and kind."""
    fields = row.values()
    details = [text for low, high, unit in _SPANS for text in _span(row, low, high, unit)]
    diameter = fields.get("stanchion_diameter_mm")
    details += [f"{diameter:g} mm stanchions"] if diameter is not None else []
    details += [f"size {row.size}"] if is_row_of(row, Frame) and row.size is not None else []
    details += [fields[name] for name in ("model_code", "edition") if fields.get(name)]
    details += [f"{row.kind} spring"] if is_row_of(row, Spring) else []
    details += [row.kind] if is_row_of(row, Part) or is_row_of(row, Fluid) else []
    details += [f"pack of {row.pack_count}"] if is_row_of(row, Part) and (row.pack_count or 1) > 1 else []
    return details


def _span(row: Row, low: str, high: str, unit: str) -> list[str]:
    """`2022–2024`, `from 2022` or `to 2024`; nothing if neither end is given."""
    first, last = row.values().get(low), row.values().get(high)
    if first is None and last is None:
        return []
    if first is None or last is None:
        return [f"from {first:g}{unit}" if last is None else f"to {last:g}{unit}"]
    return [f"{first:g}{unit}" if first == last else f"{first:g}–{last:g}{unit}"]
