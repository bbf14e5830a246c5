"""Finds a row that must exist. Raises NotFound with similar ids, or Gone if the row was withdrawn."""

from typing import NotRequired, TypeVar

from rapidfuzz import process
from rapidfuzz.distance import OSA
from typing_extensions import TypedDict

from app.catalogue import lists
from app.catalogue.history import versions
from app.catalogue.rows import Snapshot
from app.catalogue.search import LEAST, SEARCHED, Hit, index_of
from app.catalogue.tables import Row
from app.errors import Gone, NotFound, Refusal

R = TypeVar("R", bound=Row)

CANDIDATES = 5
HISTORY = 20  # versions shown of a withdrawn row, the newest
_BESIDE = 50


class Candidate(TypedDict):
    """A row that may have been meant; `score` is 1 for the same id."""

    id: str
    name: NotRequired[str]
    score: float


def present(snapshot: Snapshot, table: type[R], id: str) -> R:
    """The row with that id at this revision. Raises NotFound, or Gone if it was withdrawn."""
    row = snapshot.one(table, id)
    if row is None:
        raise missing(snapshot, table, id)
    return row


def missing(snapshot: Snapshot, table: type[Row], id: str) -> Refusal:
    """Why there is no row with that id: withdrawn, with its last versions, or unknown, with similar ids."""
    past = versions(snapshot, table, id)
    if past:
        withdrawn = past[-1].revision_to
        history = [
            {"revision_from": each.revision_from, "revision_to": each.revision_to, "row": each.row.exchanged()}
            for each in past[-HISTORY:]
        ]
        return Gone(f"{id} was withdrawn with revision {withdrawn}.", withdrawn_with=withdrawn, history=history)
    return NotFound(f"There is nothing of that id in {table.table}.", candidates=candidates(snapshot, table, id))


def candidates(snapshot: Snapshot, table: type[Row], id: str) -> list[Candidate]:
    """The rows whose ids are most similar to an unknown one, best first."""
    if table.table in SEARCHED:
        hits = index_of(snapshot, table).near(id, CANDIDATES, snapshot.require_thread)
    else:  # too many to hold in memory, so use those next to it in order
        beside = dict.fromkeys(lists.beside(snapshot, table, id, _BESIDE))
        found = process.extract(
            id, list(beside), scorer=OSA.normalized_similarity, score_cutoff=LEAST, limit=CANDIDATES
        )
        hits = [Hit(name, round(score, 4)) for name, score, _ in found]
    rows = snapshot.many(table, [hit.id for hit in hits])
    return [_candidate(rows[hit.id], hit.score) for hit in hits]


def _candidate(row: Row, score: float) -> Candidate:
    found: Candidate = {"id": row.id, "score": score}
    name = getattr(row, "name", None) or getattr(row, "title", None)
    return {"id": row.id, "name": name, "score": score} if name else found
