"""Changes to the catalogue: dry runs, imports, and the common part of every write. Writes need a key and a reason."""

import datetime as dt
import tempfile
from asyncio import to_thread
from collections.abc import Sequence
from pathlib import Path as FilePath
from typing import Annotated

from fastapi import Query, Request
from pydantic import Field
from starlette.responses import Response

from app.access.keys import Caller
from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.errors import Fault, Invalid
from app.exchange import child
from app.exchange.editing import Edits, Precondition, WrittenEdits, check_edits, write_edits
from app.exchange.loading import Entry
from app.exchange.read_edits import Edit, read_edits
from app.json_types import JsonObject
from app.questions.answers.cautions import cautions
from app.rules.finding import refuses
from app.web.access import permitted, to_its_end, write_context
from app.web.edit_bodies import (
    BODIES,
    CHANGES,
    ORDERS_TEXT,
    WRITE,
    ZIP,
    ChangesBody,
    EditReason,
    Empty,
    OrdersWanted,
    WriteAnswer,
    names_in,
)
from app.web.reading.idempotency import REPLAYED, IdempotencyKey, digest_of, key_of
from app.web.reading.json_body import MEDIA_TYPES, WrongMediaType, media_type_of, read_model
from app.web.reading.strict import strict_router
from app.web.representation import respond
from app.web.routes.units import FormAsked

router = strict_router(tags=["changes"])

ReasonGiven = Annotated[EditReason | None, Query(description="Why; public. The body may bring it instead.")]


class CheckAsked(FormAsked):
    """The parameters of a dry run."""

    empty: str | None = Field(None, max_length=2000, description="Columns that puts may empty, separated by commas.")
    orders: OrdersWanted = Field("add", description=ORDERS_TEXT)


@router.post(
    "/v1/checks",
    operation_id="checkChanges",
    summary="Check a package or changes without storing anything",
    response_model=None,
    openapi_extra=BODIES,
    responses={200: {"model": WriteAnswer, "description": "The report, accepted or not."}},
)
async def check_changes(request: Request, asked: Annotated[CheckAsked, Query()]) -> Response:
    """A dry run against the current catalogue: a package or a list of changes. Needs no key, opens no transaction."""
    if media_type_of(request) == ZIP:
        answer = await _in_child(request, "check", *_no_orders(asked.orders))
    else:
        edits = read_edits((await _changes(request))["changes"], "/changes", empty=names_in(asked.empty))
        answer = written_answer(await to_thread(_checked, request.app.state.catalogue.database, edits))
    answer["cautions"] = cautions()
    return await respond(request, answer, WRITE, question="report", rows="findings")


@router.post(
    "/v1/imports",
    operation_id="importChanges",
    summary="Import a package or a list of changes, all or nothing",
    response_model=None,
    openapi_extra=BODIES,
    responses={
        200: {"model": WriteAnswer, "description": "Nothing stored would change."},
        201: {"model": WriteAnswer, "description": "Accepted: a new revision."},
    },
)
async def import_changes(
    request: Request,
    idempotency_key: IdempotencyKey = None,
    reason: ReasonGiven = None,
    empty: Empty = None,
    orders: Annotated[OrdersWanted, Query(description=ORDERS_TEXT)] = "add",
) -> Response:
    """201 with the new revision, 200 if nothing changes, 422 with the report if anything is refused.

    A package is merged: a column that a file lacks keeps its stored values, an empty cell empties it. A put in a list
    has the whole row, and `empty` must name the columns that it may empty.
    """
    caller = await permitted(request, "edit")
    if media_type_of(request) == ZIP:
        if reason is None:
            raise _noreason_of()
        answer = await _import_package(request, caller, reason, idempotency_key, _no_orders(orders))
    else:
        body = await _changes(request)
        why = reason_of(reason, body.get("reason"))
        edits = read_edits(body["changes"], "/changes", empty=names_in(empty))
        answer = await edited(request, caller, edits, why, idempotency_key)
    answer["cautions"] = cautions()
    status, headers = 201 if answer["opened"] else 200, replayed(answer)
    return await respond(request, answer, WRITE, question="report", status=status, headers=headers)


async def edited(
    request: Request,
    caller: Caller,
    edits: Sequence[Edit] | Edits,
    reason: str,
    idempotency_key: str | None,
    holds: Precondition | None = None,
) -> JsonObject:
    """The report of edits that were written as one revision. Raises what `write_edits` and `holds` raise."""
    entry = Entry(reason, caller.label, key_of(caller.id, idempotency_key), digest_of(request, await request.body()))
    return written_answer(await store(request, edits, entry, holds))


async def store(
    request: Request, edits: Sequence[Edit] | Edits, entry: Entry, holds: Precondition | None = None
) -> WrittenEdits:
    """Write edits as one revision and note it in the audit. Raises what `write_edits` and `holds` raise."""
    database = request.app.state.catalogue.database
    write = write_context(request.scope)
    write.reason = entry.reason
    done = await to_its_end(lambda: write_edits(database, edits, entry, _today(), holds))
    write.revision = done.head.number
    return done


async def _import_package(
    request: Request, caller: Caller, reason: str, idempotency_key: str | None, more: Sequence[str]
) -> JsonObject:
    options = [*more, "--reason", reason, "--who", caller.label]
    if (key := key_of(caller.id, idempotency_key)) is not None:
        options += ["--idempotency-key", key, "--digest", digest_of(request, await request.body())]

    write = write_context(request.scope)
    write.reason = reason
    answer = await _in_child(request, "load", *options)
    if not answer["accepted"]:
        rejects = [finding for finding in answer["findings"] if refuses(finding)]
        faults = [Fault(finding["rule"], f"{finding['text']}; {finding['fix']}") for finding in rejects[:20]]
        raise Invalid(f"{answer['counts']['reject']} faults in this package", faults, report=answer)
    write.revision = answer["revision"]
    return answer


def _no_orders(orders: OrdersWanted) -> list[str]:
    return ["--no-orders"] if orders == "none" else []


async def _in_child(request: Request, command: str, *options: str) -> JsonObject:
    """Run `legwork load` or `check` on the body, which is a zip file, in a child process."""
    with tempfile.TemporaryDirectory(prefix="legwork-upload-") as folder:
        path = FilePath(folder) / "package.zip"
        path.write_bytes(await request.body())
        settings = request.app.state.settings
        return await child.run(settings, command, str(path), *options, timeout_s=settings.import_timeout)


async def _changes(request: Request) -> ChangesBody:
    if media_type_of(request) not in MEDIA_TYPES:
        raise WrongMediaType((*MEDIA_TYPES, ZIP))
    return await read_model(request, CHANGES)


def _checked(database: Database, edits: Sequence[Edit]) -> WrittenEdits:
    """Judge the changes on a separate connection: on SQLite the lookups' connection would be blocked as long."""
    if not database.is_sqlite:
        return Catalogue(database).answer(lambda snapshot: check_edits(snapshot, edits, _today()))
    apart = Database(database.url.render_as_string(hide_password=False))
    try:
        return Catalogue(apart).answer(lambda snapshot: check_edits(snapshot, edits, _today()))
    finally:
        apart.close()


def written_answer(done: WrittenEdits) -> JsonObject:
    """The report on edits as the body of an answer."""
    report = done.report
    cells = {"changed_cells": done.cells.listed(), "cell_counts": done.cells.counts}
    answer = {"accepted": report["accepted"], **cells, "findings": report["findings"], "counts": report["counts"]}
    answer |= {"revision": done.head.number, "lineage": done.head.lineage, "opened": done.opened}
    return {**answer, "replayed": True} if done.replayed else answer


def replayed(answer: JsonObject) -> dict[str, str]:
    """The header for a repeated request; removes its mark from the answer."""
    return REPLAYED if answer.pop("replayed", False) else {}


def reason_of(*given: str | None) -> str:
    """The first reason that was given. Raises Invalid if there is none."""
    for reason in given:
        if reason is not None:
            return reason
    raise _noreason_of()


def _noreason_of() -> Invalid:
    text = "give a `reason`; it is recorded with the revision"
    return Invalid(text, [Fault("reason-missing", text, pointer="/reason", parameter="reason")])


def _today() -> dt.date:
    return dt.datetime.now(dt.UTC).date()
