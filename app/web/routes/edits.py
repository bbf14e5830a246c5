"""Changes to the catalogue: dry runs, imports and edits of statements. Every write takes a key and a reason."""

import datetime as dt
import re
import tempfile
from asyncio import to_thread
from collections.abc import Sequence
from pathlib import Path as FilePath
from typing import Annotated, Any

from fastapi import Header, Path, Query, Request
from pydantic import Field
from starlette.responses import Response

from app.access.keys import Caller
from app.catalogue.catalogue import Catalogue, Pin
from app.catalogue.rows import Snapshot
from app.catalogue.tables import STATEMENTS, TABLES, Statement
from app.database.connections import Database
from app.errors import Fault, Invalid, PreconditionMissing
from app.exchange import child
from app.exchange.editing import Edits, Precondition, Written, check_edits, write_edits
from app.exchange.loading import Entry
from app.exchange.preconditions import never_used, table_of, unchanged_since
from app.exchange.read_edits import Edit, merged, read_edits
from app.questions.answers.cautions import cautions
from app.rules.finding import refuses
from app.web.access import permitted, to_its_end, write_context
from app.web.contract.openapi import json_body
from app.web.edit_bodies import (
    BESIDE,
    BODIES,
    CHANGE,
    CHANGES,
    MERGE_PATCH,
    PATCH,
    PUT,
    WRITE,
    ZIP,
    ChangeBody,
    ChangesBody,
    Empty,
    Reason,
    WriteAnswer,
    names_in,
)
from app.web.reading.idempotency import REPLAYED, IdempotencyKey, digest_of, key_of
from app.web.reading.json_body import MEDIA_TYPES, WrongMediaType, read_json, read_model, shaped
from app.web.reading.strict import strict_router
from app.web.representation import respond
from app.web.routes.units import FormAsked

router = strict_router(tags=["changes"])

_TAG = re.compile(r'"r([0-9]{1,10})\.[^"]*"')
_STATEMENT_TABLES = {table.table for table in STATEMENTS}

StatementId = Annotated[str, Path(description="Id of the statement, whatever its table.")]
IfMatch = Annotated[str | None, Header(description="The ETag that the statement was read with.")]
ReasonAsked = Annotated[Reason, Query(description="Why; it is public.")]
ReasonGiven = Annotated[Reason | None, Query(description="Why; public. The body may bring it instead.")]


class CheckAsked(FormAsked):
    """The parameters of a dry run."""

    empty: str | None = Field(None, max_length=2000, description="Columns that puts may empty, separated by commas.")


@router.post(
    "/v1/checks",
    operation_id="checkChanges",
    summary="What would be found, without storing anything",
    response_model=None,
    openapi_extra=BODIES,
    responses={200: {"model": WriteAnswer, "description": "The report, whether it would be accepted or not."}},
)
async def check_changes(request: Request, asked: Annotated[CheckAsked, Query()]) -> Response:
    """A dry run against the present catalogue: a package or a list of changes. Takes no key, opens no transaction."""
    if _is_zip(request):
        answer = await _in_child(request, "check")
    else:
        edits = read_edits((await _changes(request))["changes"], "/changes", empty=names_in(asked.empty))
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
    reason: ReasonGiven = None,
    empty: Empty = None,
) -> Response:
    """201 with the new revision, 200 if nothing changes, 422 with the report if anything is refused.

    A package is merged: a column that a file lacks leaves what is stored, an empty cell empties it. A put of a list
    brings the whole row, and what it may empty must be named in `empty`.
    """
    caller = await permitted(request, "edit")
    if _is_zip(request):
        if reason is None:
            raise _no_reason()
        answer = await _import_package(request, caller, reason, idempotency_key)
    else:
        body = await _changes(request)
        why = _reason(reason, body.get("reason"))
        edits = read_edits(body["changes"], "/changes", empty=names_in(empty))
        answer = await _edited(request, caller, edits, why, idempotency_key)
    answer["cautions"] = cautions()
    status, headers = 201 if answer["opened"] else 200, _replayed(answer)
    return await respond(request, answer, WRITE, question="report", status=status, headers=headers)


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
    answer = await _edited(request, caller, [edit], _reason(change.get("reason")), idempotency_key, never_used(edit))
    answer["cautions"] = cautions()
    headers = {"Location": f"/v1/statements/{edit.id}", "ETag": f'"r{answer["revision"]}.new"', **_replayed(answer)}
    return await respond(request, answer, WRITE, question="report", status=201, headers=headers)


@router.put(
    "/v1/statements/{id}",
    operation_id="putStatement",
    summary="Replace or reopen a statement",
    response_model=None,
    openapi_extra=json_body(PUT, "The whole row as GET gives it, with the reason; its id is that of the address."),
    responses={200: {"model": WriteAnswer, "description": "Accepted, or nothing to change."}},
)
async def put_statement(
    request: Request,
    id: StatementId,
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
    why = _reason(change.get("reason"), reason)
    return await _replaced(request, caller, [edit], why, wanted, idempotency_key, holds)


@router.patch(
    "/v1/statements/{id}",
    operation_id="patchStatement",
    summary="Change some columns of a statement",
    response_model=None,
    openapi_extra=json_body(PATCH, "The columns to change in `row`, with the reason.", MERGE_PATCH, *MEDIA_TYPES),
    responses={200: {"model": WriteAnswer, "description": "Accepted, or nothing to change."}},
)
async def patch_statement(
    request: Request,
    id: StatementId,
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

    why = _reason(patch.get("reason"), reason)
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
    id: StatementId,
    reason: ReasonAsked,
    if_match: IfMatch = None,
    idempotency_key: IdempotencyKey = None,
) -> Response:
    """428 without If-Match, 412 where the statement has changed since it was read."""
    caller = await permitted(request, "edit")
    edit = Edit(await _table_named(request, id, if_match), id, None)
    wanted = _versions(if_match)
    holds = unchanged_since(edit, wanted)
    return await _replaced(request, caller, [edit], reason, wanted, idempotency_key, holds, tag="gone")


async def _table_named(request: Request, id: str, if_match: str | None) -> type[Statement]:
    """The table of a statement; any if the id was never used, which the precondition then says."""
    catalogue: Catalogue = request.app.state.catalogue
    table = await catalogue.ask(lambda snapshot: table_of(snapshot, id))
    if table is None and catalogue.database.has_replica and (tags := _TAG.findall(if_match or "")):
        table = await catalogue.ask(lambda snapshot: table_of(snapshot, id), Pin(min_revision=max(map(int, tags))))
    return table or STATEMENTS[0]


def _versions(if_match: str | None) -> set[int]:
    """The revisions that If-Match names. Raises PreconditionMissing without one."""
    if if_match is None:
        raise PreconditionMissing("send If-Match with the ETag that the statement was read with")
    return {int(number) for number in _TAG.findall(if_match)}


async def _replaced(
    request: Request,
    caller: Caller,
    edits: Sequence[Edit] | Edits,
    reason: str,
    wanted: set[int],
    idempotency_key: str | None,
    holds: Precondition | None = None,
    tag: str = "new",
) -> Response:
    answer = await _edited(request, caller, edits, reason, idempotency_key, holds)
    answer["cautions"] = cautions()
    etag = f'"r{answer["revision"]}.{tag}"' if answer["opened"] else f'"r{max(wanted)}.same"'
    return await respond(request, answer, WRITE, question="report", headers={"ETag": etag, **_replayed(answer)})


async def _edited(
    request: Request,
    caller: Caller,
    edits: Sequence[Edit] | Edits,
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
        rejects = [finding for finding in answer["findings"] if refuses(finding)]
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


def _checked(database: Database, edits: Sequence[Edit]) -> Written:
    """Judged on a connection of its own: on SQLite the one of the lookups would be held as long as it takes."""
    if not database.is_sqlite:
        return Catalogue(database).answer(lambda snapshot: check_edits(snapshot, edits, _today()))
    apart = Database(database.url.render_as_string(hide_password=False))
    try:
        return Catalogue(apart).answer(lambda snapshot: check_edits(snapshot, edits, _today()))
    finally:
        apart.close()


def _written(done: Written) -> dict[str, Any]:
    report = done.report
    cells = {"changed_cells": done.cells.listed(), "cell_counts": done.cells.counts}
    answer = {"accepted": report["accepted"], **cells, "findings": report["findings"], "counts": report["counts"]}
    answer |= {"revision": done.revision, "opened": done.opened}
    return {**answer, "replayed": True} if done.replayed else answer


def _replayed(answer: dict[str, Any]) -> dict[str, str]:
    """The header of a request that was done before; the mark of it is taken off the answer."""
    return REPLAYED if answer.pop("replayed", False) else {}


def _one_statement(change: ChangeBody, empty: frozenset[str] = frozenset()) -> Edit:
    if change["table"] in TABLES and change["table"] not in _STATEMENT_TABLES:
        text = f"{change['table']} holds no statements: send it to /v1/imports"
        raise Invalid(text, [Fault("table", text, pointer="/table")])
    if change["op"] != "put":
        text = "this address puts rows; DELETE withdraws them"
        raise Invalid(text, [Fault("op", text, pointer="/op", suggestion="put")])
    return read_edits([change], empty=empty)[0]


def _reason(*given: str | None) -> str:
    """The first reason that is given. Raises Invalid if there is none."""
    for reason in given:
        if reason is not None:
            return reason
    raise _no_reason()


def _no_reason() -> Invalid:
    text = "say why: `reason` is recorded with the revision"
    return Invalid(text, [Fault("reason-missing", text, pointer="/reason", parameter="reason")])


def _is_zip(request: Request) -> bool:
    return request.headers.get("content-type", "").partition(";")[0].strip().lower() == ZIP


def _today() -> dt.date:
    return dt.datetime.now(dt.UTC).date()
