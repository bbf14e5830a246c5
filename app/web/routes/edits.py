"""What changes the catalogue: dry runs, imports and edits of statements. Every write takes a key and a reason."""

import datetime as dt
import re
import tempfile
from asyncio import to_thread
from collections.abc import Sequence
from pathlib import Path as FilePath
from typing import Annotated, Any

from fastapi import Header, Path, Query, Request
from starlette.responses import Response

from app.access.keys import Caller
from app.catalogue.catalogue import Catalogue, Pin
from app.catalogue.tables import STATEMENTS, TABLES
from app.database.connections import Database
from app.errors import Fault, Invalid, PreconditionMissing
from app.exchange import child
from app.exchange.editing import Edit, Precondition, WrittenEdits, check_edits, read_edits, write_edits
from app.exchange.loading import Entry
from app.exchange.preconditions import never_used, table_of, unchanged_since
from app.questions.answers.cautions import cautions
from app.web.access import permitted, to_its_end, write_context
from app.web.contract.openapi import json_body
from app.web.edit_bodies import BODIES, CHANGE, CHANGES, WRITE, ZIP, ChangeBody, ChangesBody, EditReason, WriteAnswer
from app.web.reading.idempotency import IdempotencyKey, digest_of, key_of
from app.web.reading.json_body import MEDIA_TYPES, WrongMediaType, read_model
from app.web.reading.strict import strict_router
from app.web.representation import respond
from app.web.routes.units import FormAsked

router = strict_router(tags=["changes"])

_TAG = re.compile(r'"r([0-9]{1,10})\.[^"]*"')
_STATEMENT_TABLES = {table.table for table in STATEMENTS}

EditedStatementId = Annotated[str, Path(description="Id of the statement, whatever its table.")]
IfMatch = Annotated[str | None, Header(description="The ETag that the statement was read with.")]
ReasonAsked = Annotated[EditReason, Query(description="Why; it is public.")]


@router.post(
    "/v1/checks",
    operation_id="checkChanges",
    summary="What would be found, without storing anything",
    response_model=None,
    openapi_extra=BODIES,
    responses={200: {"model": WriteAnswer, "description": "The report, whether it would be accepted or not."}},
)
async def check_changes(request: Request, asked: Annotated[FormAsked, Query()]) -> Response:
    """A dry run against the present catalogue: a package or a list of changes. Takes no key, opens no transaction."""
    if _is_zip(request):
        answer = await _in_child(request, "check")
    else:
        edits = read_edits((await _changes(request))["changes"], "/changes")
        answer = _written(await to_thread(_checked, request.app.state.catalogue.database, edits))
    answer["cautions"] = cautions()
    return await respond(request, answer, WRITE, question="report", rows="findings")


@router.post(
    "/v1/imports",
    operation_id="importChanges",
    summary="Take in a package or a list of changes, all or nothing",
    response_model=None,
    openapi_extra=BODIES,
    responses={
        200: {"model": WriteAnswer, "description": "It changes nothing that is stored."},
        201: {"model": WriteAnswer, "description": "Accepted: a new revision."},
    },
)
async def import_changes(
    request: Request,
    idempotency_key: IdempotencyKey = None,
    reason: Annotated[EditReason | None, Query(description="Why; public. A list may bring its own.")] = None,
) -> Response:
    """201 with the new revision, 200 where nothing changes, 422 with the report where anything is refused."""
    caller = await permitted(request, "edit")
    if _is_zip(request):
        if reason is None:
            raise _no_reason()
        answer = await _import_package(request, caller, reason, idempotency_key)
    else:
        body = await _changes(request)
        why = reason or body.get("reason")
        if why is None:
            raise _no_reason()
        edits = read_edits(body["changes"], "/changes")
        answer = await _edited(request, caller, edits, why, idempotency_key)
    answer["cautions"] = cautions()
    return await respond(request, answer, WRITE, question="report", status=201 if answer["opened"] else 200)


@router.post(
    "/v1/statements",
    operation_id="addStatement",
    summary="Add a statement",
    response_model=None,
    openapi_extra=json_body(CHANGE, "The change; its row brings an id that was never used."),
    status_code=201,
    responses={201: {"model": WriteAnswer, "description": "Accepted: a new revision."}},
)
async def add_statement(request: Request, idempotency_key: IdempotencyKey = None) -> Response:
    """409 where it collides with a stored row, 422 where it is refused for what it says."""
    caller = await permitted(request, "edit")
    change = await read_model(request, CHANGE)
    edit = _one_statement(change)
    answer = await _edited(request, caller, [edit], _reason_of(change), idempotency_key, never_used(edit))
    answer["cautions"] = cautions()
    headers = {"Location": f"/v1/statements/{edit.id}", "ETag": f'"r{answer["revision"]}.new"'}
    return await respond(request, answer, WRITE, question="report", status=201, headers=headers)


@router.put(
    "/v1/statements/{id}",
    operation_id="putStatement",
    summary="Replace or reopen a statement",
    response_model=None,
    openapi_extra=json_body(CHANGE, "The change; its row has the id of the address."),
    responses={200: {"model": WriteAnswer, "description": "Accepted, or nothing to change."}},
)
async def put_statement(
    request: Request, id: EditedStatementId, if_match: IfMatch = None, idempotency_key: IdempotencyKey = None
) -> Response:
    """428 without If-Match, 412 where the statement has changed since it was read. A withdrawn statement is reopened
    with the ETag `"r<revision>.gone"`, where the revision is the one it was withdrawn with."""
    caller = await permitted(request, "edit")
    change = await read_model(request, CHANGE)
    edit = _one_statement(change)
    if edit.id != id:
        text = "the row has another id than the address"
        raise Invalid(text, [Fault("id", text, pointer="/row/id", suggestion=id)])
    return await _replaced(request, caller, edit, _reason_of(change), if_match, idempotency_key)


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
    """428 without If-Match, 412 where the statement has changed since it was read."""
    caller = await permitted(request, "edit")
    catalogue: Catalogue = request.app.state.catalogue
    table = await catalogue.ask(lambda snapshot: table_of(snapshot, id))
    if table is None and catalogue.database.has_replica and (tags := _TAG.findall(if_match or "")):
        table = await catalogue.ask(lambda snapshot: table_of(snapshot, id), Pin(min_revision=max(map(int, tags))))
    return await _replaced(request, caller, Edit(table or STATEMENTS[0], id, None), reason, if_match, idempotency_key)


async def _replaced(
    request: Request, caller: Caller, edit: Edit, reason: str, if_match: str | None, idempotency_key: str | None
) -> Response:
    if if_match is None:
        raise PreconditionMissing("send If-Match with the ETag that the statement was read with")
    wanted = {int(number) for number in _TAG.findall(if_match)}
    answer = await _edited(request, caller, [edit], reason, idempotency_key, unchanged_since(edit, wanted))
    answer["cautions"] = cautions()
    tag = f"r{answer['revision']}.{'gone' if edit.row is None else 'new'}"
    headers = {"ETag": f'"{tag}"' if answer["opened"] else f'"r{max(wanted)}.same"'}
    return await respond(request, answer, WRITE, question="report", headers=headers)


async def _edited(
    request: Request,
    caller: Caller,
    edits: Sequence[Edit],
    reason: str,
    idempotency_key: str | None,
    holds: Precondition | None = None,
) -> dict[str, Any]:
    database = request.app.state.catalogue.database
    entry = Entry(reason, caller.label, key_of(caller.id, idempotency_key), digest_of(request, await request.body()))
    write = write_context(request.scope)
    write.reason = reason
    done = await to_its_end(lambda: write_edits(database, edits, entry, _today(), holds))
    write.revision = done.revision
    return _written(done)


async def _import_package(request: Request, caller: Caller, reason: str, idempotency_key: str | None) -> dict[str, Any]:
    options = ["--reason", reason, "--who", caller.label]
    if (key := key_of(caller.id, idempotency_key)) is not None:
        options += ["--idempotency-key", key, "--digest", digest_of(request, await request.body())]

    write = write_context(request.scope)
    write.reason = reason
    answer = await _in_child(request, "load", *options)
    if not answer["accepted"]:
        rejects = [finding for finding in answer["findings"] if finding["severity"] == "reject"]
        faults = [Fault(finding["rule"], f"{finding['text']}; {finding['mend']}") for finding in rejects[:20]]
        raise Invalid(f"{answer['counts']['reject']} findings refuse this package", faults, report=answer)
    write.revision = answer["revision"]
    return answer


async def _in_child(request: Request, command: str, *options: str) -> dict[str, Any]:
    """Run `legwork load` or `check` on the body, which is a zip file, in a child process."""
    with tempfile.TemporaryDirectory(prefix="legwork-upload-") as folder:
        path = FilePath(folder) / "package.zip"
        path.write_bytes(await request.body())
        settings = request.app.state.settings
        return await child.run(settings, command, str(path), *options, timeout_s=settings.import_timeout)


async def _changes(request: Request) -> ChangesBody:
    media_type = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if media_type not in MEDIA_TYPES:
        raise WrongMediaType((*MEDIA_TYPES, ZIP))
    return await read_model(request, CHANGES)


def _checked(database: Database, edits: Sequence[Edit]) -> WrittenEdits:
    """Judged on a connection of its own: on SQLite the one of the lookups would be held as long as it takes."""
    if not database.is_sqlite:
        return Catalogue(database).answer(lambda snapshot: check_edits(snapshot, edits, _today()))
    apart = Database(database.url.render_as_string(hide_password=False))
    try:
        return Catalogue(apart).answer(lambda snapshot: check_edits(snapshot, edits, _today()))
    finally:
        apart.close()


def _written(done: WrittenEdits) -> dict[str, Any]:
    return {**done.report, "revision": done.revision, "opened": done.opened}


def _one_statement(change: ChangeBody) -> Edit:
    if change["table"] in TABLES and change["table"] not in _STATEMENT_TABLES:
        text = f"{change['table']} holds no statements: send it to /v1/imports"
        raise Invalid(text, [Fault("table", text, pointer="/table")])
    if change["op"] != "put":
        text = "this address puts rows; DELETE withdraws them"
        raise Invalid(text, [Fault("op", text, pointer="/op", suggestion="put")])
    return read_edits([change])[0]


def _reason_of(change: ChangeBody) -> str:
    if "reason" not in change:
        raise _no_reason()
    return change["reason"]


def _no_reason() -> Invalid:
    text = "say why: `reason` is recorded with the revision"
    return Invalid(text, [Fault("reason-missing", text, pointer="/reason", parameter="reason")])


def _is_zip(request: Request) -> bool:
    return request.headers.get("content-type", "").partition(";")[0].strip().lower() == ZIP


def _today() -> dt.date:
    return dt.datetime.now(dt.UTC).date()
