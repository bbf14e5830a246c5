"""Edits of single statements: add, replace, patch, withdraw, each with the ETag of the version that was read."""

from collections.abc import Sequence
from typing import Annotated

from fastapi import Header, Path, Query, Request
from starlette.responses import Response

from app.access.keys import Caller
from app.catalogue.catalogue import Catalogue, Pin
from app.catalogue.lineage import Head
from app.catalogue.rows import Snapshot
from app.catalogue.tables import STATEMENTS, TABLES, Statement
from app.errors import Fault, Invalid, PreconditionMissing
from app.exchange.editing import Edits, Precondition
from app.exchange.preconditions import never_used, table_of, unchanged_since
from app.exchange.read_edits import Edit, merged, read_edits
from app.json_types import JsonObject
from app.questions.answers.cautions import cautions
from app.web.access import permitted
from app.web.contract.openapi import json_body
from app.web.edit_bodies import (
    BESIDE,
    CHANGE,
    MERGE_PATCH,
    PATCH,
    PUT,
    WRITE,
    ChangeBody,
    EditReason,
    Empty,
    WriteAnswer,
    names_in,
)
from app.web.reading.idempotency import IdempotencyKey
from app.web.reading.json_body import MEDIA_TYPES, read_json, read_model, shaped
from app.web.reading.strict import strict_router
from app.web.representation import respond
from app.web.representation.entity_tags import heads_in
from app.web.routes.edits import ReasonGiven, edited, reason_of, replayed

router = strict_router(tags=["changes"])

_STATEMENT_TABLES = {table.table for table in STATEMENTS}

EditedStatementId = Annotated[str, Path(description="Id of the statement, whatever its table.")]
IfMatch = Annotated[str | None, Header(description="The ETag that the statement was read with.")]
ReasonAsked = Annotated[EditReason, Query(description="Why; it is public.")]


@router.post(
    "/v1/statements",
    operation_id="addStatement",
    summary="Add a statement",
    response_model=None,
    openapi_extra=json_body(CHANGE, "The change; its row has an id that was never used."),
    status_code=201,
    responses={201: {"model": WriteAnswer, "description": "Accepted: a new revision."}},
)
async def add_statement(request: Request, idempotency_key: IdempotencyKey = None) -> Response:
    """409 if it collides with a stored row, 422 if its values are refused."""
    caller = await permitted(request, "edit")
    change = await read_model(request, CHANGE)
    edit = _one_statement(change)
    answer = await edited(request, caller, [edit], reason_of(change.get("reason")), idempotency_key, never_used(edit))
    answer["cautions"] = cautions()
    headers = {"Location": f"/v1/statements/{edit.id}", "ETag": f'"r{_head(answer)}.new"', **replayed(answer)}
    return await respond(request, answer, WRITE, question="report", status=201, headers=headers)


@router.put(
    "/v1/statements/{id}",
    operation_id="putStatement",
    summary="Replace or reopen a statement",
    response_model=None,
    openapi_extra=json_body(PUT, "The whole row as GET gives it, with the reason; its id is that of the address."),
    responses={200: {"model": WriteAnswer, "description": "Accepted, or nothing changed."}},
)
async def put_statement(
    request: Request,
    id: EditedStatementId,
    if_match: IfMatch = None,
    idempotency_key: IdempotencyKey = None,
    reason: ReasonGiven = None,
    empty: Empty = None,
) -> Response:
    """428 without If-Match, 412 if the statement has changed since it was read, 422 if the row lacks a stored value
    that `empty` does not name. A withdrawn statement is reopened with the ETag `"r<revision>.gone"`, where the revision
    is the one it was withdrawn with."""
    caller = await permitted(request, "edit")
    body = await read_json(request)
    if isinstance(body, dict):
        body = {"op": "put", **{name: value for name, value in body.items() if name not in BESIDE}}
        if "table" not in body:
            body["table"] = (await _table_named(request, id, if_match)).table
    change = shaped(body, CHANGE)
    edit = _one_statement(change, names_in(empty))
    if edit.id != id:
        text = "the row has another id than the address"
        raise Invalid(text, [Fault("id", text, pointer="/row/id", suggestion=id)])
    wanted = _versions(if_match)
    holds = unchanged_since(edit, wanted)
    why = reason_of(change.get("reason"), reason)
    return await _replaced(request, caller, [edit], why, wanted, idempotency_key, holds)


@router.patch(
    "/v1/statements/{id}",
    operation_id="patchStatement",
    summary="Change some columns of a statement",
    response_model=None,
    openapi_extra=json_body(PATCH, "The columns to change in `row`, with the reason.", MERGE_PATCH, *MEDIA_TYPES),
    responses={200: {"model": WriteAnswer, "description": "Accepted, or nothing changed."}},
)
async def patch_statement(
    request: Request,
    id: EditedStatementId,
    if_match: IfMatch = None,
    idempotency_key: IdempotencyKey = None,
    reason: ReasonGiven = None,
) -> Response:
    """A merge patch (RFC 7396): null empties a column, an absent column stays as it is. 428 without If-Match, 412 if
    the statement has changed since it was read, 410 if it was withdrawn."""
    caller = await permitted(request, "edit")
    patch = shaped(await read_json(request, (MERGE_PATCH, *MEDIA_TYPES)), PATCH)
    wanted = _versions(if_match)

    def edits(snapshot: Snapshot) -> list[Edit]:
        table = table_of(snapshot, id) or STATEMENTS[0]
        unchanged_since(Edit(table, id, None), wanted)(snapshot)
        before = snapshot.one(table, id)
        assert before is not None, "its version was compared under the same lock"
        return [merged(before, patch["row"])]

    why = reason_of(patch.get("reason"), reason)
    return await _replaced(request, caller, edits, why, wanted, idempotency_key)


@router.delete(
    "/v1/statements/{id}",
    operation_id="withdrawStatement",
    summary="Withdraw a statement",
    response_model=None,
    responses={200: {"model": WriteAnswer, "description": "Withdrawn with a new revision; its history stays."}},
)
async def withdraw_statement(
    request: Request,
    id: EditedStatementId,
    reason: ReasonAsked,
    if_match: IfMatch = None,
    idempotency_key: IdempotencyKey = None,
) -> Response:
    """428 without If-Match, 412 if the statement has changed since it was read."""
    caller = await permitted(request, "edit")
    edit = Edit(await _table_named(request, id, if_match), id, None)
    wanted = _versions(if_match)
    holds = unchanged_since(edit, wanted)
    return await _replaced(request, caller, [edit], reason, wanted, idempotency_key, holds, tag="gone")


async def _table_named(request: Request, id: str, if_match: str | None) -> type[Statement]:
    """The table of a statement; any table if the id was never used, and then the precondition fails."""
    catalogue: Catalogue = request.app.state.catalogue
    table = await catalogue.ask(lambda snapshot: table_of(snapshot, id))
    if table is None and catalogue.database.has_replica and (tags := heads_in(if_match or "")):
        table = await catalogue.ask(lambda snapshot: table_of(snapshot, id), Pin(min_revision=max(tags).number))
    return table or STATEMENTS[0]


def _versions(if_match: str | None) -> set[Head]:
    """The versions that If-Match names. Raises PreconditionMissing without one."""
    if if_match is None:
        raise PreconditionMissing("send If-Match with the ETag that the statement was read with")
    return heads_in(if_match)


async def _replaced(
    request: Request,
    caller: Caller,
    edits: Sequence[Edit] | Edits,
    reason: str,
    wanted: set[Head],
    idempotency_key: str | None,
    holds: Precondition | None = None,
    tag: str = "new",
) -> Response:
    answer = await edited(request, caller, edits, reason, idempotency_key, holds)
    answer["cautions"] = cautions()
    etag = f'"r{_head(answer)}.{tag}"' if answer["opened"] else f'"r{max(wanted)}.same"'
    return await respond(request, answer, WRITE, question="report", headers={"ETag": etag, **replayed(answer)})


def _head(answer: JsonObject) -> Head:
    return Head(answer["revision"], answer["lineage"])


def _one_statement(change: ChangeBody, empty: frozenset[str] = frozenset()) -> Edit:
    if change["table"] in TABLES and change["table"] not in _STATEMENT_TABLES:
        text = f"{change['table']} holds no statements: send it to /v1/imports"
        raise Invalid(text, [Fault("table", text, pointer="/table")])
    if change["op"] != "put":
        text = "this address puts rows; DELETE withdraws them"
        raise Invalid(text, [Fault("op", text, pointer="/op", suggestion="put")])
    return read_edits([change], empty=empty)[0]
