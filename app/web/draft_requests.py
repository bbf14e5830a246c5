"""The parts that requests and forms about drafts share: start, add a table, change, tick and load."""

import asyncio
import re
import tempfile
from collections.abc import Mapping
from pathlib import Path

from fastapi import Request

from app.access.idempotency import IdempotentRequest
from app.access.keys import Caller, now
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Chassis, Source
from app.database.connections import Database
from app.drafts import kept
from app.drafts.child import read_grids
from app.drafts.content import DraftContent, DraftStart, Tick
from app.drafts.draft_rows import derived, seen_cells
from app.drafts.grid import Grids
from app.drafts.kept import DraftChange, HeldDraft
from app.drafts.load import load_draft, refuse_own
from app.drafts.undoing import changed_rows
from app.drafts.views import DraftAnswer, draft_answer
from app.errors import Conflict, Fault, Forbidden, Invalid
from app.exchange.editing import WrittenEdits
from app.web.access import admitted, to_its_end, write_context
from app.web.draft_bodies import DraftBody, DraftPatch, TickBody

_NOT_IN_A_NAME = re.compile(r"[^\w .()-]+")
_MOST_TITLE = 120


async def admitted_to_drafts(request: Request) -> Caller:
    """The caller of a lookup of drafts: an editor or a second reader. Raises Unauthorised, Forbidden."""
    try:
        return await admitted(request, "edit")
    except Forbidden:
        return await admitted(request, "review")


async def answer_of(request: Request, draft: HeldDraft) -> DraftAnswer:
    """The answer about a draft as the catalogue is now."""
    second = request.app.state.settings.second_reader
    found: DraftAnswer = await request.app.state.catalogue.ask(
        lambda snapshot: draft_answer(snapshot, draft, second_reader=second)
    )
    return found


async def started(
    request: Request, caller: Caller, body: DraftBody, same: IdempotentRequest | None
) -> tuple[HeldDraft, bool]:
    """Start a draft; True if the same request did it before. Raises Invalid for what the catalogue does not have."""
    answers = {key: text for key, text in body.get("answers", {}).items() if text}
    start, title = await request.app.state.catalogue.ask(lambda snapshot: _start(snapshot, body, answers))
    shop: Database = request.app.state.shop
    return await to_its_end(lambda: kept.open_draft(shop, caller, title, start, answers, same))


def _start(snapshot: Snapshot, body: DraftBody, answers: Mapping[str, str]) -> tuple[DraftStart, str]:
    """How a draft begins, and its title. Raises Invalid."""
    kind = body.get("kind", "empty")
    start = DraftStart(kind=kind)
    source = snapshot.one(Source, answers.get("source", ""))
    title = source.title if source is not None else "Draft"
    if kind == "undo":
        start["revision"] = revision = body.get("revision", 0)
        changed_rows(snapshot, revision)
        title = f"Undo revision {revision}"
    elif kind != "empty":
        start["like"] = like = body.get("like", "")
        row = snapshot.one(Chassis if kind == "fork" else Source, like)
        if row is None:
            text = f"Name the {'fork' if kind == 'fork' else 'source'} to begin with: the catalogue has none “{like}”."
            raise Invalid(text, [Fault("like-unknown", text, pointer="/like")])
    chassis = snapshot.one(Chassis, answers.get("chassis", ""))
    if chassis is not None:
        start["maker"] = chassis.maker
    return start, (body.get("title") or title)[:_MOST_TITLE]


async def tables_in(content: bytes, name: str) -> Grids:
    """The tables of foreign bytes, read in a child process. Raises Invalid with one sentence."""
    with tempfile.TemporaryDirectory(prefix="legwork-draft-") as folder:
        path = Path(folder) / (_NOT_IN_A_NAME.sub(" ", name).strip(" .")[:60] or "table")
        path.write_bytes(content)
        return await asyncio.to_thread(read_grids, path)


def change_of(body: DraftPatch) -> DraftChange:
    """The change that a request asks for."""
    return DraftChange(
        title=body.get("title"), without=frozenset(body.get("without", ())), answers=body.get("answers", {}),
        corrections={(each["cell"], each.get("column", "")): each["text"] for each in body.get("corrections", ())},
    )  # fmt: skip


async def changed(
    request: Request, caller: Caller, id: str, wanted: DraftChange, versions: set[int],
    same: IdempotentRequest | None = None,
) -> tuple[HeldDraft, bool]:  # fmt: skip
    """Change a draft; True if the same request did it before. Raises what `kept.change` raises."""
    shop: Database = request.app.state.shop
    catalogue = request.app.state.catalogue

    def see(grids: Grids, content: DraftContent) -> Mapping[str, dict[str, str]]:
        seen: Mapping[str, dict[str, str]] = catalogue.answer(lambda snapshot: seen_cells(snapshot, grids, content))
        return seen

    return await to_its_end(lambda: kept.change(shop, caller, id, wanted, versions, see, same))


async def ticked(request: Request, caller: Caller, draft: HeldDraft, ticks: list[TickBody]) -> HeldDraft:
    """Keep what the second reader says. Raises Conflict if a row has changed since it was read, or for an author."""
    kept.refuse_closed(draft)
    refuse_own(draft, caller.id)
    found = await request.app.state.catalogue.ask(lambda snapshot: derived(snapshot, draft.grids, draft.content))
    digests = {each.key: each.digest for each in found.rows}
    said: dict[str, Tick] = {}
    for number, each in enumerate(ticks):
        key = f"{each['table']}/{each['id']}"
        if digests.get(key) != each["content"]:
            text = f"{key} has changed since you read it. Look at it again."
            raise Conflict(text, [Fault("row-changed", text, pointer=f"/ticks/{number}")])
        said[key] = Tick(content=each["content"], said=each["said"], by=caller.label, key=caller.id, at=now())
        if each.get("note"):
            said[key]["note"] = each["note"]
    shop: Database = request.app.state.shop
    return await to_its_end(lambda: kept.tick(shop, caller.shop, draft.id, said))


async def loaded(
    request: Request, caller: Caller, draft: HeldDraft, versions: set[int], reason: str | None
) -> WrittenEdits:
    """Load a draft as one revision, and note it in the audit. Raises what `load_draft` raises."""
    state = request.app.state
    why = reason or draft.title
    write = write_context(request.scope)
    write.reason = why
    done = await to_its_end(
        lambda: load_draft(
            state.shop, state.catalogue.database, caller.shop, draft.id, versions, why, caller.label,
            second_reader=state.settings.second_reader,
        )
    )  # fmt: skip
    write.revision = done.head.number
    return done
