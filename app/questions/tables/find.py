"""Something by its name, whatever table it is in: the likeliest rows of all tables that have names."""

from typing import NotRequired

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.catalogue.rows import Snapshot
from app.catalogue.search import SEARCHED, Hit, found
from app.catalogue.tables import Row
from app.errors import Invalid
from app.questions.answers.cautions import cautions
from app.questions.answers.parameters import Pinned
from app.questions.answers.views import Caution
from app.questions.tables.links import href
from app.questions.tables.listing import Q_MOST, sources_of

SHOWN = 20
SHOWN_MOST = 100


class FindAsked(Pinned):
    """The parameters of a search across tables."""

    q: str = Field(
        max_length=Q_MOST,
        description="A name, part number or id; slips of typing are forgiven.",
        examples=["mizzle 31"],
    )
    limit: int = Field(default=SHOWN, ge=1, le=SHOWN_MOST, description="Hits shown; `total` counts all.")


class FoundRow(TypedDict):
    """A row that may be meant; `score` is 1 for the same text. Its table's list with the same `q` goes on from here."""

    table: str
    id: str
    name: str
    part_number: NotRequired[str]
    score: float
    href: str


class FindAnswer(TypedDict):
    """What may be meant, the likeliest first, and in how many rows of which table."""

    revision: int
    total: int
    tables: dict[str, int]
    hits: list[FoundRow]
    cautions: list[Caution]


FIND = TypeAdapter(FindAnswer)


def find(snapshot: Snapshot, asked: FindAsked) -> FindAnswer:
    """The likeliest rows of all tables. Raises Invalid for a blank `q`."""
    if not asked.q.strip():
        raise Invalid.one("empty", "`q` has no value.", parameter="q")
    by_table = {name: found(snapshot, table, asked.q) for name, table in SEARCHED.items()}
    merged = [(-hit.score, name, hit) for name, hits in by_table.items() for hit in hits[: asked.limit]]
    best = sorted(merged)[: asked.limit]
    rows = {
        (name, row.id): row
        for name, table in SEARCHED.items()
        if (wanted := [hit.id for _, of, hit in best if of == name])
        for row in snapshot.many(table, wanted).values()
    }
    return {
        "revision": snapshot.revision,
        "total": sum(map(len, by_table.values())),
        "tables": {name: len(hits) for name, hits in by_table.items() if hits},
        "hits": [_found(rows[name, hit.id], hit) for _, name, hit in best],
        "cautions": cautions(sources=sources_of(snapshot, list(rows.values()))),
    }


def _found(row: Row, hit: Hit) -> FoundRow:
    found: FoundRow = {
        "table": row.table,
        "id": row.id,
        "name": getattr(row, "name", None) or row["title"],
        "score": hit.score,
        "href": href(row.model, row.id),
    }
    if getattr(row, "part_number", None) is not None:
        found["part_number"] = row["part_number"]
    return found
