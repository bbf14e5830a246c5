"""Where one begins: the forks there are, or whatever bears a name or number like the one that is looked for."""

from collections.abc import Mapping, Sequence
from typing import NotRequired

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.catalogue import lists
from app.catalogue.rows import Snapshot
from app.catalogue.search import found
from app.catalogue.tables import TABLES, Chassis, Maker, Row, is_row_of
from app.errors import Invalid
from app.questions.answers.cautions import cautions
from app.questions.answers.parameters import Pinned
from app.questions.answers.views import Caution
from app.questions.tables.listing import Q_MOST, sources_of

MOST_FORKS = 24
MOST_FOUND = 20
LOOKED_IN = ("chassis", "springs", "variants", "frames", "dampers", "spacers", "parts", "fluids", "makers", "sources")
"""The tables that one looks for something in, in the order in which equal likeness is told."""


class StartAsked(Pinned):
    """The parameters of the beginning."""

    q: str | None = Field(None, max_length=Q_MOST, description="A name or number like this; slips are forgiven.")


class FoundFork(TypedDict):
    """Something that may be meant. `detail` tells it from others of its name."""

    table: str
    id: str
    name: str
    detail: str
    href: str


class StartAnswer(TypedDict):
    """What was found, the likeliest first; without `q` the forks. `identify`: what to ask of an unknown one."""

    revision: int
    q: NotRequired[str]
    found: list[FoundFork]
    chassis_total: int
    identify: str
    cautions: list[Caution]


START = TypeAdapter(StartAnswer)


def start(snapshot: Snapshot, asked: StartAsked) -> StartAnswer:
    """The answer at one revision. Raises Invalid for a blank `q`."""
    if asked.q is not None and not asked.q.strip():
        raise Invalid.one("empty", "`q` has no value; leave it out to begin with the forks.", parameter="q")
    rows = lists.page(snapshot, Chassis, {}, None, MOST_FORKS) if asked.q is None else _searched(snapshot, asked.q)
    makers = snapshot.many(Maker, {row["maker"] for row in rows if getattr(row, "maker", None) is not None})
    answer: StartAnswer = {
        "revision": snapshot.revision,
        "found": [_found(row, makers) for row in rows],
        "chassis_total": lists.count(snapshot, Chassis, {}),
        "identify": "/v1/identify",
        "cautions": cautions(sources=sources_of(snapshot, rows)),
    }
    if asked.q is not None:
        answer["q"] = asked.q
    return answer


def _searched(snapshot: Snapshot, q: str) -> Sequence[Row]:
    hits = [
        (-hit.score, place, hit.id)
        for place, name in enumerate(LOOKED_IN)
        for hit in found(snapshot, TABLES[name], q)[:MOST_FOUND]
    ]
    best = sorted(hits)[:MOST_FOUND]
    rows = {
        place: snapshot.many(TABLES[LOOKED_IN[place]], [id for _, of, id in best if of == place])
        for place in {place for _, place, _ in best}
    }
    return [rows[place][id] for _, place, id in best]


def _found(row: Row, makers: Mapping[str, Maker]) -> FoundFork:
    maker = makers.get(getattr(row, "maker", None) or "")
    name = getattr(row, "name", None) or getattr(row, "title", None) or row.id
    return {
        "table": row.table,
        "id": row.id,
        "name": f"{maker.name} {name}" if maker is not None and not name.startswith(maker.name) else name,
        "detail": ", ".join(_details(row)),
        "href": f"/v1/{row.table}/{row.id}",
    }


def _details(row: Row) -> list[str]:
    """What it is, its years, its travel and its number, as far as they are given."""
    said = [row.table if is_row_of(row, Chassis) else row.table.removesuffix("s")]
    for low, high, unit in (("model_year_from", "model_year_to", ""), ("travel_min_mm", "travel_max_mm", " mm")):
        span = [f"{value:g}" for value in (getattr(row, low, None), getattr(row, high, None)) if value is not None]
        if span:
            said.append("–".join(dict.fromkeys(span)) + unit)
    diameter = getattr(row, "stanchion_diameter_mm", None)
    said += [f"{diameter:g} mm stanchions"] if diameter is not None else []
    said += [
        getattr(row, name)
        for name in ("size", "part_number", "model_code", "kind", "edition")
        if getattr(row, name, None)
    ]
    return said
