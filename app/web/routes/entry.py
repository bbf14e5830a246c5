"""Forms that enter and correct rows of the catalogue, for editors who are signed in. Pages only: programs send changes.

A form has no rules of its own: its row is judged like every other change, and each finding is shown beside its field.
"""

import re
import secrets
from collections.abc import Mapping, Sequence
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel, ConfigDict, Field, create_model
from starlette.responses import RedirectResponse, Response

from app.access.keys import Caller
from app.catalogue.history import Place, changes, version
from app.catalogue.present import missing
from app.catalogue.rows import Snapshot
from app.catalogue.tables import TABLES, Chassis, Row
from app.errors import Conflict, Fault, Gone, Invalid, NoRoom, NotFound, Refusal, Stale, Unauthorised, Unavailable
from app.exchange.editing import WrittenEdits
from app.exchange.loading import Entry
from app.exchange.preconditions import table_of, unchanged_since
from app.exchange.read_edits import Edit
from app.json_types import JsonObject
from app.questions.tables.findings import FindingsAsked, finding_list
from app.rules.finding import FindingShape, refuses
from app.rules.registry import RULES
from app.web.access import admitted, permitted_by_form
from app.web.entry.choices import name_of
from app.web.entry.forms import CARRIED, THEN, EntryForm, defaults, entry_form, field_name, kind_of, names_of, stated
from app.web.entry.next_gap import gap_forms
from app.web.entry.reading import FilledForm, filled_in, shown_in, typed_in
from app.web.forks.forms import beside
from app.web.forks.in_question import PRIVATE
from app.web.problem import status_of
from app.web.reading.form_body import Form, read_form
from app.web.reading.idempotency import digest_of, key_of
from app.web.reading.strict import strict_router
from app.web.representation.entity_tags import heads_in
from app.web.representation.entry_links import onwards
from app.web.representation.page import page
from app.web.routes.bench_forms import once_more
from app.web.routes.edits import store
from app.web.routes.sign_in import local_path
from app.web.routes.tables import RowId

router = strict_router(include_in_schema=False)

MOST_BYTES = 60_000
MOST_FINDINGS = 50
FORK = (
    "maker", "name", "model_year_from", "model_year_to", "wheel_sizes", "travel_min_mm", "travel_max_mm", "crowns",
    "marks",
)  # fmt: skip
"""What the first screen asks for a fork."""
CALLED = {"fastener": "position", "part": "kind"}
"""What a gap calls a row that is still to be entered, if not by its name."""
_NUMBER = re.compile(r"[0-9]{1,3}")
_KEPT_IN_THE_FORM = (Invalid, Conflict, Unavailable, NoRoom, Stale, Gone)


class EntryAsked(BaseModel):
    """The parameters of a form: the way back, the columns asked for, the number of the gap, and first values."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    next: str | None = Field(None, max_length=4_000)
    ask: str | None = Field(None, max_length=400)
    at: int | None = Field(None, ge=0, le=999)
    stored: bool = False

    def typed(self) -> dict[str, str]:
        """The values by column."""
        return {name: str(value) for name, value in self if value and name not in EntryAsked.model_fields}

    def gap(self) -> str:
        """The number of the gap that the form closes, as the form carries it; empty if it closes none."""
        return "" if self.at is None else str(self.at)

    def columns(self) -> list[str]:
        """The columns that are asked for."""
        return [name for name in (self.ask or "").split(",") if name]


@router.get("/enter")
async def list_tables(request: Request) -> Response:
    """The tables, each with its form."""
    await admitted(request, "edit")
    return _page(request, "enter-tables", {})


@router.get("/enter/fork")
async def ask_for_a_fork(request: Request) -> Response:
    """The screen on which a fork that is not in the catalogue begins."""
    await admitted(request, "edit")
    return await _new(request, Chassis, {}, FORK, "")


@router.post("/enter/fork")
async def enter_a_fork(request: Request) -> Response:
    """Store the fork and go on to its sheet, on which everything that is still missing is a link."""
    return await _sent(request, Chassis, None)


@router.get("/enter/statements/{id}")
async def find_the_table(request: Request, id: RowId, asked: Annotated[EntryAsked, Query()]) -> Response:
    """Lead to the form of a statement, whatever its table."""
    await admitted(request, "edit")
    table = await request.app.state.catalogue.ask(lambda snapshot: table_of(snapshot, id))
    if table is None:
        raise NotFound(f"There is no statement {id}.")
    query = request.url.query
    return _redirected(f"/enter/{table.table}/{id}{f'?{query}' if query else ''}")


@router.get("/enter/next")
async def go_to_the_next_gap(request: Request, asked: Annotated[EntryAsked, Query()]) -> Response:
    """Lead to the form of that gap of a page, or back to the page if it has no more."""
    await admitted(request, "edit")
    page_of_gaps = local_path(asked.next or "/")
    forms = await request.app.state.catalogue.ask(lambda snapshot: gap_forms(snapshot, request.scope, page_of_gaps))
    left = forms[asked.at or 0 :]
    return _redirected(left[0] if left else page_of_gaps)


async def find_the_row(request: Request, asked: EntryAsked) -> Response:
    """Lead from a figure on a page to the form of its row, which is named under its table or under `statements`."""
    await admitted(request, "edit")
    query = f"?{urlencode({'next': asked.next})}" if asked.next else ""
    for name, id in asked.typed().items():
        return _redirected(f"/enter/{name}/{id}{query}")
    raise Invalid.one(
        "missing", "Name the row to correct, as in statements=torque-of-the-axle.", parameter="statements"
    )


async def _new(
    request: Request, table: type[Row], given: Mapping[str, str], asked: Sequence[str], way: str, at: str = ""
) -> Response:
    """The empty form. A reference that is no row is the name of one that is still to be entered."""

    def shown(snapshot: Snapshot) -> JsonObject:
        typed, wanted = dict(given), list(asked)
        for name in _not_there(snapshot, table, given):
            wanted.insert(0, name)
            typed[field_name(name, CALLED.get(name, "name"))] = typed.pop(name)
        entry = entry_form(snapshot, table, typed, wanted)
        filled = {**defaults(snapshot, entry, typed), **typed, "sent": secrets.token_urlsafe(24)}
        filled |= {"ask": ",".join(wanted), "next": way, "at": at}
        return _answer(snapshot, entry, filled, opening=typed)

    return _page(request, "enter", await request.app.state.catalogue.ask(shown))


def _not_there(snapshot: Snapshot, table: type[Row], given: Mapping[str, str]) -> list[str]:
    columns = table.columns()
    return [
        name for name, text in given.items()
        if (target := columns[name].refers_to) is not None and name != "source" and columns[name].kind.items is None
        and snapshot.one(TABLES[target], text) is None
    ]  # fmt: skip


async def _stored(request: Request, table: type[Row], id: str, asked: EntryAsked) -> Response:
    """The form of a stored row, with what the rules find in it beside the fields."""

    def shown(snapshot: Snapshot) -> JsonObject:
        found = version(snapshot, table, id)
        if found is None:
            raise missing(snapshot, table, id)
        typed = shown_in(found.row)
        first = asked.columns() or stated(table)
        entry = entry_form(snapshot, table, typed, first)
        filled = {
            **defaults(snapshot, entry, typed),
            **asked.typed(),
            **typed,
            "sent": secrets.token_urlsafe(24),
            "seen": f'"r{snapshot.at(found.revision_from)}.seen"',
        }
        filled |= {"ask": ",".join(first), "next": local_path(asked.next or ""), "at": asked.gap()}
        wanted = FindingsAsked(table=table.table, id=id, limit=MOST_FINDINGS)
        findings = finding_list(snapshot, wanted, None)["findings"]
        faults = [
            Fault(each["rule"], _said(each), pointer=f"/{each['column']}")
            for each in findings if _names_a_figure(each)
        ]  # fmt: skip
        return {**_answer(snapshot, entry, filled, faults, id=id), "stored": asked.stored}

    return _page(request, "enter", await request.app.state.catalogue.ask(shown))


async def _sent(request: Request, table: type[Row], id: str | None) -> Response:
    """Store what a form sent, or show the form again with everything that was typed and what is wrong with it."""
    catalogue = request.app.state.catalogue
    names = await catalogue.ask(lambda snapshot: names_of(snapshot, table))
    try:
        caller = await permitted_by_form(request, "edit")
    except Unauthorised as refusal:
        return await once_more(request, names, refusal, MOST_BYTES)
    form = await read_form(request, names, MOST_BYTES)
    if not _NUMBER.fullmatch(form.get("at")):
        form.filled.pop("at", None)
    asked = [name for name in form.get("ask").split(",") if name]
    way = local_path(form.get("next"))

    def read(snapshot: Snapshot) -> tuple[EntryForm, dict[str, str]]:
        entry = entry_form(snapshot, table, form.filled, asked)
        return entry, typed_in(form, entry)

    entry, typed = await catalogue.ask(read)
    filled = FilledForm([])
    try:
        filled = await catalogue.ask(lambda snapshot: filled_in(snapshot, entry, typed))
        done = await _store(request, caller, form, filled, Edit(table, id or "", None))
    except _KEPT_IN_THE_FORM as refusal:
        return await _again(request, table, id, typed, asked, refusal, filled)
    if form.get(THEN):
        way = f"/enter/next?{urlencode({'next': way, 'at': form.get('at') or '0'})}"
    return await _onwards(request, way, table, typed, filled, done)


async def _store(request: Request, caller: Caller, form: Form, filled: FilledForm, stored: Edit) -> WrittenEdits:
    reason = form.get("reason") or _reason(stored.table, stored.id)
    entry = Entry(reason, caller.label, key_of(caller.id, form.get("sent") or None), digest_of(request, form.raw))
    holds = unchanged_since(stored, seen) if stored.id and (seen := heads_in(form.get("seen"))) else None
    return await store(request, lambda snapshot: filled.edits(snapshot, stored.id or None), entry, holds)


def _reason(table: type[Row], id: str) -> str:
    return f"corrected {id}" if id else f"entered a row of {table.table}"


async def _again(
    request: Request, table: type[Row], id: str | None, typed: Mapping[str, str], asked: Sequence[str],
    refusal: Refusal, filled: FilledForm,
) -> Response:  # fmt: skip
    findings: Sequence[FindingShape] = refusal.extra["report"]["findings"] if "report" in refusal.extra else ()
    rejects = [each for each in findings if refuses(each)]
    faults = [_placed(each, filled) for each in rejects] or refusal.faults or [Fault("refused", refusal.detail)]
    words = any(each["rule"] in RULES and RULES[each["rule"]].nature == "implausible" for each in rejects)

    def shown(snapshot: Snapshot) -> JsonObject:
        entry = entry_form(snapshot, table, typed, asked, words=words)
        return {**_answer(snapshot, entry, typed, faults, id=id, opening=typed), "refused": True}

    answer = await request.app.state.catalogue.ask(shown)
    return _page(request, "enter", answer, status_of(refusal))


def _placed(finding: FindingShape, filled: FilledForm) -> Fault:
    """A finding with the field it is about; one about another row has none."""
    outer = filled.places.get((finding.get("table", ""), finding.get("id", "")))
    pointer = None if outer is None or "column" not in finding else f"/{field_name(outer, finding['column'])}"
    return Fault(finding["rule"], _said(finding), pointer=pointer)


def _said(finding: FindingShape) -> str:
    return f"{finding['text']}. {finding['fix']}" if finding["fix"] else finding["text"]


async def _onwards(
    request: Request, way: str, table: type[Row], typed: Mapping[str, str], filled: FilledForm, done: WrittenEdits
) -> Response:
    """Go back to the page that the form was opened from; to the form once more if the rules warn of a figure."""
    id = await _id_of(request, table, filled, done)
    if not way:
        way = f"/v1/chassis/{id}/sheet" if request.url.path == "/enter/fork" else f"/v1/{table.table}/{id}"
    if request.app.state.catalogue.database.has_replica:
        way = f"{way}{'&' if '?' in way else '?'}min_revision={done.head.number}"
    way = onwards(way, id, filled.source, typed.get("page", ""))
    if any(_doubts(each, filled) for each in done.report["findings"]):
        return _redirected(f"/enter/{table.table}/{id}?{urlencode({'stored': 'true', 'next': way})}")
    return _redirected(way)


def _doubts(finding: FindingShape, filled: FilledForm) -> bool:
    """Whether a rule warns of a figure that was entered."""
    place = (finding.get("table", ""), finding.get("id", ""))
    return finding["severity"] == "warn" and filled.places.get(place) == "" and _names_a_figure(finding)


def _names_a_figure(finding: FindingShape) -> bool:
    rule = RULES.get(finding["rule"])
    return "column" in finding and (rule is None or rule.nature != "completeness")


async def _id_of(request: Request, table: type[Row], filled: FilledForm, done: WrittenEdits) -> str:
    """The id of the row. A form that was sent twice finds the row in the revision that the first one opened."""
    own = [id for (name, id), outer in filled.places.items() if name == table.table and outer == ""]
    if own:
        return own[0]

    def find(snapshot: Snapshot) -> str:
        found = changes(snapshot, Place(done.head.number), 20)
        return next(each.id for each in found if each.table == table.table and each.revision == done.head.number)

    id: str = await request.app.state.catalogue.ask(find)
    return id


def _answer(
    snapshot: Snapshot, entry: EntryForm, typed: Mapping[str, str], faults: Sequence[Fault] = (), *,
    id: str | None = None, opening: Mapping[str, str] | None = None,
) -> JsonObject:  # fmt: skip
    known, others = beside(faults, entry.groups)
    shown = {each.name for group in entry.groups if not group.folded for each in group.fields}
    return {
        "table": entry.table.table, "id": id, "what": kind_of(entry.table), "meaning": entry.table.meaning,
        "groups": entry.groups,
        "typed": typed, "faults": known, "others": others, "refused": False, "stored": False,
        "hidden": [name for name in CARRIED if typed.get(name)],
        "opening": [name for name in opening or {} if "-" in name],
        "about": list(_about(snapshot, entry, typed, shown)),
    }  # fmt: skip


def _about(
    snapshot: Snapshot, entry: EntryForm, typed: Mapping[str, str], shown: set[str]
) -> Sequence[tuple[str, str]]:
    """What the row is about, of what is known already and so not asked for at the top."""
    found = []
    for name, column in entry.table.columns().items():
        text = typed.get(name)
        if not text or name in shown or not (column.required or column.options) or name == "id":
            continue
        target = TABLES.get(column.refers_to or "")
        found.append((name, text if target is None or ";" in text else name_of(snapshot, target, text)))
    return found


def _page(request: Request, question: str, answer: Mapping[str, object], status: int = 200) -> Response:
    headers = {**PRIVATE, "Vary": "Cookie", "Content-Type": "text/html; charset=utf-8"}
    return Response(page(question, answer, request.scope), status_code=status, headers=headers)


def _redirected(path: str) -> Response:
    return RedirectResponse(path, status_code=303, headers=PRIVATE)


def _add_forms(router: APIRouter, table: type[Row]) -> None:
    columns: JsonObject = {name: (str | None, Field(None, max_length=400)) for name in table.columns() if name != "id"}
    asked_model = create_model(f"{table.__name__}EntryAsked", __base__=EntryAsked, **columns)

    async def ask_for_a_row(request: Request, asked: EntryAsked) -> Response:
        await admitted(request, "edit")
        return await _new(request, table, asked.typed(), asked.columns(), local_path(asked.next or ""), asked.gap())

    async def enter_a_row(request: Request) -> Response:
        return await _sent(request, table, None)

    async def ask_for_a_correction(request: Request, id: RowId, asked: EntryAsked) -> Response:
        await admitted(request, "edit")
        return await _stored(request, table, id, asked)

    async def correct_a_row(request: Request, id: RowId) -> Response:
        return await _sent(request, table, id)

    for ask in (ask_for_a_row, ask_for_a_correction):
        ask.__annotations__["asked"] = Annotated[asked_model, Query()]
    path = f"/enter/{table.table}"
    router.add_api_route(path, ask_for_a_row, methods=["GET"], response_model=None)
    router.add_api_route(path, enter_a_row, methods=["POST"], response_model=None)
    router.add_api_route(f"{path}/{{id}}", ask_for_a_correction, methods=["GET"], response_model=None)
    router.add_api_route(f"{path}/{{id}}", correct_a_row, methods=["POST"], response_model=None)


_rows: JsonObject = {name: (str | None, Field(None, max_length=80)) for name in ("statements", *TABLES)}
find_the_row.__annotations__["asked"] = Annotated[create_model("RowOf", __base__=EntryAsked, **_rows), Query()]
router.add_api_route("/enter/row", find_the_row, methods=["GET"], response_model=None)
for _table in TABLES.values():
    _add_forms(router, _table)
