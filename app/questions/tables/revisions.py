"""Revisions, the change feed, and the versions of a statement."""

from typing import Annotated, Literal, NotRequired

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.catalogue import history
from app.catalogue.catalogue import require_shared
from app.catalogue.content_hash import digest_of
from app.catalogue.history import Changed, Place, Recorded, Version
from app.catalogue.present import CANDIDATES, candidates, missing
from app.catalogue.rows import Snapshot
from app.catalogue.tables import STATEMENTS
from app.errors import NotFound
from app.json_types import JsonObject
from app.questions.answers.cautions import cautions
from app.questions.answers.cursors import Cursor, NextCursor
from app.questions.answers.parameters import LAST_REVISION, RevisionNumber
from app.questions.answers.views import Caution
from app.questions.tables.compare import FIRST_ROWS, ComparedRow, compared_rows
from app.questions.tables.links import Links, shown
from app.questions.tables.listing import Paged, sources_of

AnyRow = Annotated[JsonObject, Field(description="Exchange columns of the table, as in its own list.")]


LineageOfRevision = Annotated[
    str,
    Field(
        pattern=r"^[0-9a-f]{16}$",
        description="Hash chained over the records of all revisions up to this one: equal only in one history.",
    ),
]


class RevisionRow(TypedDict):
    """One accepted revision; `who` is the public label of a key, never a person."""

    number: int
    recorded_at: Annotated[str, Field(json_schema_extra={"format": "date-time"})]
    reason: str
    who: str
    lineage: LineageOfRevision
    added: int
    changed: int
    withdrawn: int
    changes: Annotated[str, Field(description="Address of its changes.")]


class RevisionList(TypedDict):
    """Revisions, newest first; `next` is absent on the last page."""

    revision: int
    total: int
    revisions: list[RevisionRow]
    next: NotRequired[str]
    next_cursor: NotRequired[NextCursor]
    cautions: list[Caution]


class RevisionAnswer(TypedDict):
    """One revision; revision 0, the empty catalogue, has no `recorded`.

    Asked for by its number, it says in `differences` what it changed, the first 100 rows; `compare` has all of them.
    """

    revision: int
    recorded: NotRequired[RevisionRow]
    differences: NotRequired[list[ComparedRow]]
    compare: NotRequired[str]
    cautions: list[Caution]


class ChangeRow(TypedDict):
    """One change of one row; `row` is absent if it was withdrawn."""

    revision: int
    recorded_at: Annotated[str, Field(json_schema_extra={"format": "date-time"})]
    table: str
    op: Literal["put", "withdraw"]
    id: str
    row: NotRequired[AnyRow]
    digest: NotRequired[
        Annotated[
            str,
            Field(
                description=(
                    "Of `row`, for a copy to check itself: SHA-256 in hexadecimal over its lines of the content hash."
                )
            ),
        ]
    ]
    reason: str
    who: str


class ChangeList(TypedDict):
    """Changes ordered by revision, table and id. If there is no `next`, continue later with `after` = `revision` and
    this `lineage`."""

    revision: int
    lineage: LineageOfRevision
    after: int
    total: int
    changes: list[ChangeRow]
    next: NotRequired[str]
    next_cursor: NotRequired[NextCursor]
    cautions: list[Caution]


class StatementEntry(TypedDict):
    """One statement, whatever its table."""

    revision: int
    table: str
    revision_from: int
    row: AnyRow
    links: Links
    cautions: list[Caution]


class VersionRow(TypedDict):
    """One version of a statement; `revision_to` is absent if it is still valid."""

    revision_from: int
    revision_to: NotRequired[int]
    recorded_at: Annotated[str, Field(json_schema_extra={"format": "date-time"})]
    reason: str
    who: str
    row: AnyRow
    withdrawn: NotRequired["Withdrawal"]


class Withdrawal(TypedDict):
    """When and why a statement was withdrawn."""

    revision: int
    recorded_at: Annotated[str, Field(json_schema_extra={"format": "date-time"})]
    reason: str
    who: str


class StatementHistory(TypedDict):
    """Every version of a statement, oldest first."""

    revision: int
    table: str
    id: str
    versions: list[VersionRow]
    cautions: list[Caution]


REVISIONS, REVISION = TypeAdapter(RevisionList), TypeAdapter(RevisionAnswer)
CHANGES = TypeAdapter(ChangeList)
STATEMENT, HISTORY = TypeAdapter(StatementEntry), TypeAdapter(StatementHistory)


class RevisionsAsked(Paged):
    """The parameters of the list of revisions."""


class ChangesAsked(Paged):
    """The parameters of the feed of changes."""

    after: RevisionNumber = Field(default=0, description="List the changes after this revision.")
    lineage: str | None = Field(
        default=None,
        pattern=r"^[0-9a-f]{16}$",
        description=(
            "Lineage of the revision `after`, from the answer that your copy ends with. 409 if this catalogue has "
            "another history there: start again with `after=0`."
        ),
    )


def revision_list(snapshot: Snapshot, asked: RevisionsAsked, cursor: Cursor | None) -> dict[str, object]:
    """A page of revisions, the newest first."""
    before = LAST_REVISION if cursor is None else int(cursor.place[0])
    found = history.revisions(snapshot, before, asked.limit + 1)
    shown_here = found[: asked.limit]
    answer: dict[str, object] = {
        "revision": snapshot.revision,
        "total": snapshot.revision,  # they are numbered 1, 2, 3 …
        "revisions": [_revision_row(each) for each in shown_here],
    }
    if len(found) > asked.limit:
        place = (shown_here[-1].number,)
        answer["next"] = asked.write_cursor(
            "revisions", Cursor(snapshot.revision, snapshot.revision, place, snapshot.head.lineage)
        )
    answer["cautions"] = cautions()
    return answer


def latest_revision(snapshot: Snapshot) -> RevisionAnswer:
    """The requested revision, by default the latest. A single query, because clients poll it."""
    found = history.recorded(snapshot, [snapshot.revision])
    if not found:
        return {"revision": snapshot.revision, "cautions": cautions()}
    return {"revision": snapshot.revision, "recorded": _revision_row(found[snapshot.revision]), "cautions": cautions()}


def one_revision(snapshot: Snapshot, number: int) -> RevisionAnswer:
    """One revision. Raises NotFound if it does not exist yet."""
    found = history.recorded(snapshot, [number]) if number <= snapshot.revision else {}
    if not found:
        raise NotFound(f"There is no revision {number}; the latest is {snapshot.revision}.")
    snapshot.require_thread()
    differences = compared_rows(snapshot, number - 1, number, FIRST_ROWS)
    return {
        "revision": snapshot.revision,
        "recorded": _revision_row(found[number]),
        "differences": differences,
        "compare": f"/v1/compare?from={number - 1}&to={number}",
        "cautions": cautions(),
    }


def change_list(snapshot: Snapshot, asked: ChangesAsked, cursor: Cursor | None) -> dict[str, object]:
    """A page of the feed; a page may end inside a revision."""
    start = Place(asked.after + 1)
    if cursor is None and (asked.lineage is not None or asked.after > snapshot.revision):
        require_shared(snapshot.connection, asked.after, asked.lineage)
    if cursor is not None:
        revision, table, id = cursor.place
        start = Place(int(revision), str(table), str(id))
    found = history.changes(snapshot, start, asked.limit + 1)
    shown_here = found[: asked.limit]
    total = history.changed_total(snapshot, asked.after) if cursor is None else cursor.total
    recorded = history.recorded(snapshot, {each.revision for each in shown_here})
    answer: dict[str, object] = {
        "revision": snapshot.revision,
        "lineage": snapshot.head.lineage,
        "after": asked.after,
        "total": total,
        "changes": [_change_row(each, recorded[each.revision]) for each in shown_here],
    }
    if len(found) > asked.limit:
        last = shown_here[-1]
        answer["next"] = asked.write_cursor(
            "changes", Cursor(snapshot.revision, total, last[:3], snapshot.head.lineage)
        )
    answer["cautions"] = cautions(
        sources=sources_of(snapshot, [each.row for each in shown_here if each.row is not None])
    )
    return answer


def statement(snapshot: Snapshot, id: str) -> JsonObject:
    """One statement by id. Raises NotFound with similar ids, Gone if it was withdrawn."""
    return shown(snapshot, _of_statement(snapshot, id)[-1])


def statement_history(snapshot: Snapshot, id: str) -> StatementHistory:
    """Every version of one statement, withdrawn or not. Raises NotFound with similar ids."""
    found = _versions(snapshot, id)
    if not found:
        raise _unknown(snapshot, id)
    numbers = {number for each in found for number in each[1:] if number is not None}
    recorded = history.recorded(snapshot, numbers)
    followed = {each.revision_from for each in found}
    return {
        "revision": snapshot.revision,
        "table": found[0].row.table,
        "id": id,
        "versions": [_version_row(each, recorded, followed) for each in found],
        "cautions": cautions(sources=sources_of(snapshot, [each.row for each in found])),
    }


def _of_statement(snapshot: Snapshot, id: str) -> list[Version]:
    found = _versions(snapshot, id)
    if not found:
        raise _unknown(snapshot, id)
    if found[-1].revision_to is not None:
        raise missing(snapshot, found[-1].row.model, id)
    return found


def _versions(snapshot: Snapshot, id: str) -> list[Version]:
    """The versions of a statement, whatever its table: statement ids are unique across tables."""
    return next((found for table in STATEMENTS if (found := history.versions(snapshot, table, id))), [])


def _unknown(snapshot: Snapshot, id: str) -> NotFound:
    near = [each for table in STATEMENTS for each in candidates(snapshot, table, id)]
    near.sort(key=lambda each: (-each["score"], each["id"]))
    return NotFound("There is no statement with this id.", candidates=near[:CANDIDATES])


def _revision_row(recorded: Recorded) -> RevisionRow:
    return {
        "number": recorded.number,
        "recorded_at": recorded.recorded_at,
        "reason": recorded.reason,
        "who": recorded.who,
        "lineage": recorded.lineage,
        "added": recorded.added,
        "changed": recorded.changed,
        "withdrawn": recorded.withdrawn,
        "changes": f"/v1/changes?after={recorded.number - 1}",
    }


def _change_row(change: Changed, recorded: Recorded) -> ChangeRow:
    row: ChangeRow = {
        "revision": change.revision,
        "recorded_at": recorded.recorded_at,
        "table": change.table,
        "op": "withdraw" if change.row is None else "put",
        "id": change.id,
        "reason": recorded.reason,
        "who": recorded.who,
    }
    if change.row is not None:
        row["row"] = change.row.exchanged()
        row["digest"] = digest_of(change.row)
    return row


def _version_row(version: Version, recorded: dict[int, Recorded], followed: set[int]) -> VersionRow:
    begun = recorded[version.revision_from]
    row: VersionRow = {
        "revision_from": version.revision_from,
        "recorded_at": begun.recorded_at,
        "reason": begun.reason,
        "who": begun.who,
        "row": version.row.exchanged(),
    }
    if version.revision_to is not None:
        row["revision_to"] = version.revision_to
        if version.revision_to not in followed:
            ended = recorded[version.revision_to]
            row["withdrawn"] = {
                "revision": ended.number, "recorded_at": ended.recorded_at, "reason": ended.reason, "who": ended.who,
            }  # fmt: skip
    return row
