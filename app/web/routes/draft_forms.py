"""The pages of drafts for a signed-in browser: start, paste, meaning, answers, second reader, load. No id is typed."""

import re
import secrets
import urllib.parse
from collections.abc import Mapping
from typing import Annotated

from fastapi import Query, Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import RedirectResponse, Response

from app.access.idempotency import IdempotentRequest
from app.access.keys import Caller
from app.drafts import kept
from app.drafts.kept import DraftChange, HeldDraft
from app.errors import Conflict, Gone, Invalid, NoRoom, Refusal, Stale, Unauthorised, Unavailable
from app.json_types import JsonObject
from app.web.access import admitted, in_shop, permitted_by_form
from app.web.draft_bodies import DRAFT_BODY, DRAFT_PATCH, LOAD_BODY, TICKS_BODY, DraftBody
from app.web.draft_pages import forks_and_sources, resolved_names
from app.web.draft_requests import admitted_to_drafts, change_of, changed, loaded, started, tables_in, ticked
from app.web.draft_steps import NUMBERED, DraftPageAsked, draft_page
from app.web.forks.forms import FieldGroup, FormField
from app.web.forks.in_question import PRIVATE
from app.web.reading.form_body import Form, read_form
from app.web.reading.idempotency import digest_of, key_of_form
from app.web.reading.json_body import shaped
from app.web.reading.strict import strict_router
from app.web.reading.upload import read_upload
from app.web.routes.bench_forms import form_page, once_more
from app.web.routes.drafts import DraftId

router = strict_router(include_in_schema=False)

MOST_BYTES = 200_000
MOST_PASTED = 15_500_000
"""Bytes of a pasted table in a form, in which a character may take nine."""
MOST_UPLOADED = 15_500_000
START_NAMES = ("title", "chassis", "source", "page", "kind", "like_fork", "like_source", "revision", "sent")
PASTE_NAMES = ("name", "pasted", "version", "sent")
READ_NAMES = ("row", "content", "said", "note", "sent")
LOAD_NAMES = ("reason", "version", "sent")
_ENTRIES = re.compile(r"(?:key|answer|was|cell|text|column|words)\.[0-9]{1,3}|tap|version|grid|without")
_KEPT = (Invalid, Conflict, Stale, Unavailable, NoRoom, Gone)


class DraftStartAsked(BaseModel):
    """First values of the form that starts a draft."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    kind: str | None = Field(None, max_length=10)
    revision: int | None = Field(None, ge=1)
    chassis: str | None = Field(None, max_length=80)
    source: str | None = Field(None, max_length=80)


@router.get("/enter/drafts/new")
async def ask_for_a_draft(request: Request, asked: Annotated[DraftStartAsked, Query()]) -> Response:
    """The form that starts a draft."""
    await admitted(request, "edit")
    typed = {name: str(value) for name, value in asked if value is not None}
    return await _start_page(request, {**typed, "sent": secrets.token_urlsafe(24)})


@router.post("/enter/drafts/new")
async def start_by_form(request: Request) -> Response:
    """Start the draft, once even if the form is sent several times, and go on to its tables."""
    try:
        caller = await permitted_by_form(request, "edit")
    except Unauthorised as refusal:
        return await once_more(request, START_NAMES, refusal)
    form = await read_form(request, START_NAMES, MOST_BYTES)
    try:
        body = await _start_body(request, form)
        same = IdempotentRequest(key_of_form(caller.shop, form.get("sent")), digest_of(request, form.raw))
        draft, _ = await started(request, caller, body, same)
    except _KEPT as refusal:
        return await _start_page(request, form.filled, refusal)
    return _onwards(draft.id, "" if body.get("kind") == "undo" else "/paste")


async def _start_body(request: Request, form: Form) -> DraftBody:
    """The body that a program would send. Raises Invalid with pointers."""
    given = {name: form.get(name) for name in ("chassis", "source", "page")}
    answers, faults = await request.app.state.catalogue.ask(lambda snapshot: resolved_names(snapshot, given))
    if faults:
        raise Invalid(faults[0].text, faults)
    body: JsonObject = {"kind": form.get("kind") or "empty", "answers": {k: v for k, v in answers.items() if v}}
    like = form.get({"fork": "like_fork", "edition": "like_source"}.get(body["kind"], ""))
    body |= {"like": like} if like else {}
    body |= {"title": form.get("title")} if form.get("title") else {}
    if (revision := _number(form.get("revision"))) is not None:
        body["revision"] = revision
    return shaped(body, DRAFT_BODY)


async def _start_page(request: Request, typed: Mapping[str, str], refusal: Refusal | None = None) -> Response:
    forks, sources = await request.app.state.catalogue.ask(forks_and_sources)
    is_undo = typed.get("kind") == "undo"
    groups = [FieldGroup("", [FormField("kind", "/kind"), FormField("revision", "/revision")])]
    if not is_undo:
        groups = [
            FieldGroup(
                "What you have at hand",
                [
                    FormField("chassis", "/answers/chassis", words="Fork", choices=forks),
                    FormField("source", "/answers/source", words="Document", choices=sources),
                    FormField("page", "/answers/page", hint="if all of it is on one page", words="Page"),
                ],
                "Every table can have a fork, document and page of its own.",
            ),
            FieldGroup(
                "Begin with rows that are stored",
                [
                    FormField("kind", "/kind", words="Begin", choices=_KINDS),
                    FormField("like_fork", "/like", words="Like this fork", choices=forks),
                    FormField("like_source", "/like", words="New edition of this document", choices=sources),
                ],
                "Each row is then asked about once: is it printed in the document that you have at hand?",
                folded=True,
            ),
        ]  # fmt: skip
    groups.append(FieldGroup("Title", [FormField("title", "/title", words="Title", hint="by default the document")]))
    return await form_page(request, "draft-start", groups, typed, {"undo": typed.get("revision", "")}, refusal)


_KINDS = (("empty", "Empty"), ("fork", "Like another fork"), ("edition", "As a new edition of a document"))


@router.get("/enter/drafts/{id}")
async def show_draft(request: Request, id: DraftId, asked: Annotated[DraftPageAsked, Query()]) -> Response:
    """What is to be answered, beside the tables."""
    return await _step(request, id, "answers", asked)


@router.get("/enter/drafts/{id}/paste")
async def ask_for_a_table(request: Request, id: DraftId) -> Response:
    """Paste a table, or send a file."""
    return await _step(request, id, "paste")


@router.get("/enter/drafts/{id}/meaning")
async def ask_for_meanings(request: Request, id: DraftId, asked: Annotated[DraftPageAsked, Query()]) -> Response:
    """The meanings of a table: shape, fork, document, page and headings."""
    return await _step(request, id, "meaning", asked)


@router.get("/enter/drafts/{id}/reader")
async def ask_the_second_reader(request: Request, id: DraftId, asked: Annotated[DraftPageAsked, Query()]) -> Response:
    """The rows in the order of the page, one at a time."""
    return await _step(request, id, "reader", asked)


@router.get("/enter/drafts/{id}/load")
async def ask_for_the_reason(request: Request, id: DraftId) -> Response:
    """The changes that loading makes, and what is still to do before."""
    return await _step(request, id, "load")


async def _step(request: Request, id: str, step: str, asked: DraftPageAsked | None = None) -> Response:
    caller = await admitted_to_drafts(request)
    draft = await in_shop(request, lambda shop: kept.held(shop, caller.shop, id))
    return await draft_page(request, caller, draft, step, asked=asked)


@router.post("/enter/drafts/{id}/paste")
async def paste_a_table(request: Request, id: DraftId) -> Response:
    """Add a pasted table and go on to its meaning; a table that cannot be read stays in the form."""
    try:
        caller = await permitted_by_form(request, "edit")
    except Unauthorised as refusal:
        return await once_more(request, PASTE_NAMES, refusal, MOST_PASTED)
    draft = await in_shop(request, lambda shop: kept.held(shop, caller.shop, id))
    form = await read_form(request, PASTE_NAMES, MOST_PASTED)
    pasted = _as_pasted(form)
    try:
        name = form.get("name") or f"Table {len(draft.grids.grids) + 1}"
        return await _add(request, caller, draft, pasted.encode(), name, form.filled, form.raw)
    except _KEPT as refusal:
        return await draft_page(request, caller, draft, "paste", {**form.filled, "pasted": pasted}, refusal)


def _as_pasted(form: Form) -> str:
    """The pasted text with its outer tabs, which separate cells."""
    return dict(urllib.parse.parse_qsl(form.raw.decode("ascii"))).get("pasted", "").replace("\r\n", "\n")


@router.post("/enter/drafts/{id}/upload")
async def upload_a_table(request: Request, id: DraftId) -> Response:
    """Add the tables of a file and go on to their meaning."""
    caller = await permitted_by_form(request, "edit")
    draft = await in_shop(request, lambda shop: kept.held(shop, caller.shop, id))
    form = await read_upload(request, {"version", "sent"}, MOST_UPLOADED)
    try:
        if not form.filename:
            raise Invalid.one("file-missing", "Choose a file first.")
        return await _add(request, caller, draft, form.file, form.filename, form.fields, form.file)
    except _KEPT as refusal:
        return await draft_page(request, caller, draft, "paste", {}, refusal)


async def _add(
    request: Request, caller: Caller, draft: HeldDraft, content: bytes, name: str, typed: Mapping[str, str], raw: bytes
) -> Response:
    same = IdempotentRequest(key_of_form(caller.shop, typed.get("sent", "")), digest_of(request, raw))
    found = await tables_in(content, name)
    wanted = DraftChange(grids=tuple(found.grids), remarks=tuple(found.remarks))
    after, _ = await changed(request, caller, draft.id, wanted, _version(typed), same)
    last = after.grids.grids[-len(found.grids)].name
    return _onwards(draft.id, f"/meaning?{urllib.parse.urlencode({'grid': last})}")


@router.post("/enter/drafts/{id}/meaning")
async def save_meanings(request: Request, id: DraftId) -> Response:
    """Keep what a table means, and go on to its questions."""
    return await _save(request, id, "meaning")


@router.post("/enter/drafts/{id}")
async def save_answers(request: Request, id: DraftId) -> Response:
    """Keep all answers and corrections of the page, and the one that was tapped."""
    return await _save(request, id, "answers")


async def _save(request: Request, id: str, step: str) -> Response:
    try:
        caller = await permitted_by_form(request, "edit", one_of_many=True)
    except Unauthorised as refusal:
        return await once_more(request, _ENTRIES, refusal)
    draft = await in_shop(request, lambda shop: kept.held(shop, caller.shop, id))
    form = await read_form(request, _ENTRIES, MOST_BYTES)
    asked = DraftPageAsked(grid=form.get("grid") or None)
    try:
        wanted = await _change(request, form)
        await changed(request, caller, id, wanted, _version(form.filled))
    except _KEPT as refusal:
        return await draft_page(request, caller, draft, step, form.filled, refusal, asked)
    return _onwards(id, f"?{urllib.parse.urlencode({'grid': asked.grid})}" if asked.grid else "")


async def _change(request: Request, form: Form) -> DraftChange:
    """The entries that differ from what the page showed, and the answer that was tapped. Raises Invalid."""
    answers: dict[str, str] = {}
    corrections: list[JsonObject] = []
    for name, value in form.filled.items():
        if (found := NUMBERED.fullmatch(name)) is None:
            continue
        kind, number = found.groups()
        if kind == "key" and (given := form.get(f"answer.{number}")) != form.get(f"was.{number}"):
            answers[value] = given
        if kind == "cell" and form.get(f"text.{number}"):
            corrections.append({"cell": value, "text": form.get(f"text.{number}")})
    what, _, rest = form.get("tap").partition(".")
    number, _, text = rest.partition("=")
    if what == "answer":
        answers[form.get(f"key.{number}")] = text
    elif what == "printed":
        column, words = form.get(f"column.{number}"), form.get(f"words.{number}")
        corrections.append({"cell": form.get(f"cell.{number}"), "column": column, "text": words})
    found_answers, faults = await request.app.state.catalogue.ask(lambda snapshot: resolved_names(snapshot, answers))
    if faults:
        raise Invalid(faults[0].text, faults)
    without = [form.get("without")] if form.get("without") else []
    return change_of(shaped({"answers": found_answers, "corrections": corrections, "without": without}, DRAFT_PATCH))


@router.post("/enter/drafts/{id}/reader")
async def tick_by_form(request: Request, id: DraftId) -> Response:
    """Keep what the second reader says of a row, and go on to the next."""
    try:
        caller = await permitted_by_form(request, "review", one_of_many=True)
    except Unauthorised as refusal:
        return await once_more(request, READ_NAMES, refusal)
    draft = await in_shop(request, lambda shop: kept.held(shop, caller.shop, id))
    form = await read_form(request, READ_NAMES, MOST_BYTES)
    try:
        table, _, row = form.get("row").partition("/")
        tick = {"table": table, "id": row, "content": form.get("content"), "said": form.get("said")}
        tick |= {"note": form.get("note")} if form.get("note") else {}
        await ticked(request, caller, draft, shaped({"ticks": [tick]}, TICKS_BODY)["ticks"])
    except _KEPT as refusal:
        return await draft_page(request, caller, draft, "reader", form.filled, refusal)
    return _onwards(id, "/reader#next")


@router.post("/enter/drafts/{id}/load")
async def load_by_form(request: Request, id: DraftId) -> Response:
    """Load the draft and show what its revision changed."""
    try:
        caller = await permitted_by_form(request, "edit")
    except Unauthorised as refusal:
        return await once_more(request, LOAD_NAMES, refusal)
    draft = await in_shop(request, lambda shop: kept.held(shop, caller.shop, id))
    form = await read_form(request, LOAD_NAMES, MOST_BYTES)
    try:
        reason = shaped({"reason": form.get("reason")} if form.get("reason") else {}, LOAD_BODY).get("reason")
        done = await loaded(request, caller, draft, _version(form.filled), reason)
    except _KEPT as refusal:
        return await draft_page(request, caller, draft, "load", form.filled, refusal)
    needed = f"?min_revision={done.head.number}" if request.app.state.catalogue.database.has_replica else ""
    return RedirectResponse(f"/v1/revisions/{done.head.number}{needed}", status_code=303, headers=PRIVATE)


def _version(typed: Mapping[str, str]) -> set[int]:
    version = _number(typed.get("version", ""))
    return set() if version is None else {version}


def _number(text: str) -> int | None:
    return int(text) if text.isdecimal() and len(text) < 10 else None


def _onwards(id: str, path: str) -> Response:
    return RedirectResponse(f"/enter/drafts/{id}{path}", status_code=303, headers=PRIVATE)
