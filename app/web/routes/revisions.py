"""Revisions, the change feed, and statements by id with their versions. Read only."""

from typing import Annotated, Union

from fastapi import Path, Query, Request
from pydantic import Field
from starlette.responses import Response
from typing_extensions import TypeAliasType

from app.catalogue.lineage import Head
from app.catalogue.rows import Snapshot
from app.catalogue.tables import STATEMENTS
from app.json_types import JsonObject
from app.questions.answers.parameters import LAST_REVISION, Pinned
from app.questions.tables import revisions as questions
from app.questions.tables.compare import COMPARED, CompareAnswer, CompareAsked, comparison
from app.questions.tables.links import entry_shape
from app.questions.tables.revisions import ChangesAsked, RevisionsAsked
from app.web.reading.strict import strict_router
from app.web.representation import respond
from app.web.routes.tables import respond_page

router = strict_router(tags=["revisions"])

StatementId = Annotated[str, Path(description="Id of the statement, whatever its table.")]
NumberOfRevision = Annotated[int, Path(ge=1, le=LAST_REVISION, description="Number of the revision.")]
PinnedAsked = Annotated[Pinned, Query()]
AnyStatement = TypeAliasType(
    "AnyStatement",
    Annotated[  # type: ignore[valid-type]
        Union[tuple(entry_shape(table) for table in STATEMENTS)],  # noqa: UP007 - made of a list
        Field(discriminator="table", description="One statement; `table` names its table."),
    ],
)


@router.get(
    "/v1/revisions",
    operation_id="listRevisions",
    summary="The accepted changes, newest first",
    response_model=None,
    responses={200: {"model": questions.RevisionList, "description": "A page of revisions."}},
)
async def list_revisions(request: Request, asked: Annotated[RevisionsAsked, Query()]) -> Response:
    """Every accepted revision, with its reason and the public label of the key that sent it."""
    cursor = asked.read_cursor("revisions", (int,))
    catalogue = request.app.state.catalogue
    answer = await catalogue.ask(
        lambda snapshot: questions.revision_list(snapshot, asked, cursor), asked.pin_of(cursor)
    )
    return await respond_page(request, answer, questions.REVISIONS, question="revisions", rows="revisions")


@router.get(
    "/v1/revisions/latest",
    operation_id="latestRevision",
    summary="The latest revision",
    response_model=None,
    responses={200: {"model": questions.RevisionAnswer, "description": "Its number, time and reason."}},
)
async def latest_revision(request: Request, asked: PinnedAsked) -> Response:
    """Cheap enough to poll every second with If-None-Match. With `as_of`, the latest revision of that day."""
    answer = await request.app.state.catalogue.ask(questions.latest_revision, asked.pin())
    return await respond(request, answer, questions.REVISION, question="revision")


@router.get(
    "/v1/revisions/{number}",
    operation_id="getRevision",
    summary="One revision",
    response_model=None,
    responses={200: {"model": questions.RevisionAnswer, "description": "When, why, by whom and how much."}},
)
async def get_revision(request: Request, number: NumberOfRevision, asked: PinnedAsked) -> Response:
    """When the revision was accepted, why, by whom, and how much it changed."""
    answer = await request.app.state.catalogue.ask(
        lambda snapshot: questions.one_revision(snapshot, number), asked.pin()
    )
    return await respond(request, answer, questions.REVISION, question="revision")


@router.get(
    "/v1/compare",
    operation_id="compareRevisions",
    summary="What two revisions say differently",
    response_model=None,
    responses={200: {"model": CompareAnswer, "description": "A page of rows, each with the cells that differ."}},
)
async def compare_revisions(request: Request, asked: Annotated[CompareAsked, Query()]) -> Response:
    """Cell by cell, from the revision `from` to `to`, which may be older. A row that was changed back is not listed."""
    cursor = asked.read_cursor("compare", (str, str))
    catalogue = request.app.state.catalogue
    answer = await catalogue.ask(lambda snapshot: comparison(snapshot, asked, cursor), asked.pin_of(cursor))
    return await respond_page(request, answer, COMPARED, question="compare", rows="rows")


@router.get(
    "/v1/changes",
    operation_id="listChanges",
    summary="Changes after a revision",
    response_model=None,
    responses={200: {"model": questions.ChangeList, "description": "A page of changes, including withdrawals."}},
)
async def list_changes(request: Request, asked: Annotated[ChangesAsked, Query()]) -> Response:
    """The feed that keeps a copy up to date, ordered by revision, table and id. A page may end inside a revision.
    When there is no `next`, continue later with `after` set to the `revision` of the answer."""
    cursor = asked.read_cursor("changes", (int, str, str))
    catalogue = request.app.state.catalogue
    answer = await catalogue.ask(lambda snapshot: questions.change_list(snapshot, asked, cursor), asked.pin_of(cursor))
    return await respond_page(request, answer, questions.CHANGES, question="changes", rows="changes")


@router.get(
    "/v1/statements/{id}",
    operation_id="getStatement",
    summary="One statement, whatever its table",
    response_model=None,
    responses={200: {"model": AnyStatement, "description": "The statement, its table and its links."}},
)
async def get_statement(request: Request, id: StatementId, asked: PinnedAsked) -> Response:
    """404 for an id that was never used, with similar `candidates`; 410 for a withdrawn one, with its `history`."""

    def found(snapshot: Snapshot) -> tuple[JsonObject, Head]:
        answer = questions.statement(snapshot, id)
        return answer, snapshot.at(answer["revision_from"])

    answer, version = await request.app.state.catalogue.ask(found, asked.pin())
    return await respond(request, answer, questions.STATEMENT, question="entry", version=version)


@router.get(
    "/v1/statements/{id}/history",
    operation_id="statementHistory",
    summary="Every version of a statement",
    response_model=None,
    responses={200: {"model": questions.StatementHistory, "description": "Its versions, oldest first."}},
)
async def statement_history(request: Request, id: StatementId, asked: PinnedAsked) -> Response:
    """Every version with its revisions, who changed it and why, and when it was withdrawn, if it was."""
    answer = await request.app.state.catalogue.ask(
        lambda snapshot: questions.statement_history(snapshot, id), asked.pin()
    )
    return await respond(request, answer, questions.HISTORY, question="statement-history", rows="versions")
