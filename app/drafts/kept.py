"""Drafts of a shop in its database: start, find, change, tick, load, erase. A shop cannot see another shop's drafts.

A change names the version that it was made from, so that two browsers at one draft cannot overwrite each other. Ticks
are merged row by row, since each belongs to the content of its row.
"""

import datetime as dt
import json
from collections.abc import Callable, Mapping
from typing import NamedTuple

from sqlalchemy import ColumnElement, Connection, delete, func, insert, select, update
from sqlalchemy import Row as Fetched

from app.access.idempotency import IdempotentRequest, made_before, remember
from app.access.keys import Caller, now
from app.bench.forks import new_id
from app.database.connections import Database
from app.drafts.content import CONTENT, DraftContent, DraftStart, Tick, new_content
from app.drafts.grid import Grids, TableGrid, as_json, from_json
from app.drafts.stored import DRAFTS
from app.errors import Conflict, Fault, Invalid, NotFound, Stale

MOST_BYTES = 50_000_000
MOST_DRAFT_BYTES = 10_000_000
MOST_GRIDS = 60
KEEP_DAYS = 90
"""A draft is erased this many days after its last change."""
LOADING_S = 60
"""Seconds after which a load that left no revision is taken to have failed."""
_HEADING = "heading "
_LISTED = [column for column in DRAFTS.c if column.name not in ("grids", "content")]


class HeldDraft(NamedTuple):
    """A draft as it is stored; `grids` and `content` are empty in a list."""

    id: str
    title: str
    grids: Grids
    content: DraftContent
    opened_at: str
    opened_by: str
    changed_at: str
    version: int
    loading_at: str | None
    loaded: int | None

    @property
    def expires_on(self) -> str:
        """The day on which it is erased unless it is changed before."""
        return (dt.date.fromisoformat(self.changed_at[:10]) + dt.timedelta(days=KEEP_DAYS)).isoformat()


def open_draft(
    shop: Database, caller: Caller, title: str, start: DraftStart, answers: Mapping[str, str],
    request: IdempotentRequest | None = None,
) -> tuple[HeldDraft, bool]:  # fmt: skip
    """Start a draft; True if the same `request` started it before. Headings that the shop has explained in a draft of
    the same maker are known. Raises Conflict if the shop has no room left."""
    id, at = new_id(), now()
    with shop.write() as connection:
        if (before := made_before(connection, request)) is not None:
            return held_in(connection, caller.shop, before), True
        known = _remembered_headings(connection, caller.shop, start.get("maker"))
        content = new_content(start, {**known, **answers}, caller.id)
        row: dict[str, object] = {
            "id": id, "shop": caller.shop, "title": title, "opened_at": at, "opened_by": caller.label,
            "changed_at": at, "version": 1, "loading_at": None, "loaded": None, **_written(Grids(), content),
        }  # fmt: skip
        connection.execute(insert(DRAFTS), row)
        _refuse_above_quota(connection, caller.shop)
        remember(connection, request, id)
        return held_in(connection, caller.shop, id), False


def _remembered_headings(connection: Connection, shop_id: str, maker: str | None) -> dict[str, str]:
    """The meanings of the headings of a maker's tables, as the shop last answered in earlier drafts."""
    if maker is None:
        return {}
    known: dict[str, str] = {}
    rows = select(DRAFTS.c.content).where(_own(shop_id)).order_by(DRAFTS.c.changed_at, DRAFTS.c.id)
    for text in connection.execute(rows).scalars():
        content = CONTENT.validate_json(text)
        if content["start"].get("maker") == maker:
            known |= {key: answer for key, answer in content["answers"].items() if key.startswith(_HEADING)}
    return known


def _refuse_above_quota(connection: Connection, shop_id: str) -> None:
    stored = connection.execute(select(func.sum(DRAFTS.c.bytes)).where(_own(shop_id))).scalar_one()
    if stored > MOST_BYTES:
        text = f"The drafts of a shop may have {MOST_BYTES // 1_000_000} MB together. Erase one that is loaded or done."
        raise Conflict(text, [Fault("drafts-full", text)])


def _written(grids: Grids, content: DraftContent) -> dict[str, object]:
    """The columns that hold what was given. Raises Invalid if it is too large."""
    texts = {
        "grids": json.dumps(as_json(grids), ensure_ascii=False, separators=(",", ":")),
        "content": CONTENT.dump_json(content).decode(),
    }
    size = sum(len(text.encode()) for text in texts.values())
    if size > MOST_DRAFT_BYTES or len(grids.grids) > MOST_GRIDS:
        text = (
            f"A draft holds at most {MOST_GRIDS} tables and {MOST_DRAFT_BYTES // 1_000_000} MB. "
            "Load this one, and start another for the rest."
        )
        raise Invalid.one("draft-too-large", text)
    return {**texts, "bytes": size}


def held(shop: Database, shop_id: str, id: str) -> HeldDraft:
    """The draft with that id. Raises NotFound, for another shop's draft too."""
    with shop.read() as connection:
        return held_in(connection, shop_id, id)


def held_in(connection: Connection, shop_id: str, id: str) -> HeldDraft:
    """Like `held`, on an open connection."""
    row = connection.execute(select(DRAFTS).where(_own(shop_id), DRAFTS.c.id == id)).first()
    if row is None:
        raise NotFound("There is no draft with this id. A draft is erased 90 days after its last change.")
    return _held(row, from_json(json.loads(row.grids)), CONTENT.validate_json(row.content))


def listed(shop: Database, shop_id: str) -> list[HeldDraft]:
    """The drafts of a shop without what they hold, the latest change first."""
    wanted = select(*_LISTED).where(_own(shop_id)).order_by(DRAFTS.c.changed_at.desc(), DRAFTS.c.id)
    with shop.read() as connection:
        rows = connection.execute(wanted).fetchall()
    return [_held(row, Grids(), new_content(DraftStart(kind="empty"), {}, "")) for row in rows]


class DraftChange(NamedTuple):
    """A change of a draft. An empty answer or correction removes what was there; `without` names tables to remove."""

    title: str | None = None
    grids: tuple[TableGrid, ...] = ()
    remarks: tuple[str, ...] = ()
    without: frozenset[str] = frozenset()
    answers: Mapping[str, str] = {}
    corrections: Mapping[tuple[str, str], str] = {}


See = Callable[[Grids, DraftContent], Mapping[str, dict[str, str]]]
"""Gives the cells of the stored rows that a draft is about, by row."""


def change(
    shop: Database, caller: Caller, id: str, wanted: DraftChange, versions: set[int], see: See,
    request: IdempotentRequest | None = None,
) -> tuple[HeldDraft, bool]:  # fmt: skip
    """Change a draft of one of those `versions`; True if the same `request` did it before.

    Raises NotFound; Stale if the draft has changed since it was read; Conflict if it is loaded, or there is no room;
    Invalid if it gets too large.
    """
    with shop.read() as connection:
        before = held_in(connection, caller.shop, id)
        if made_before(connection, request) is not None:
            return before, True
    refuse_closed(before)
    _refuse_stale(before, versions)
    grids, content = _changed(before, wanted, caller)
    content["seen"] = {**see(grids, content), **content["seen"]}
    values = {
        "title": wanted.title or before.title, "changed_at": now(), "version": before.version + 1, "loading_at": None,
    }  # fmt: skip
    with shop.write() as connection:
        if made_before(connection, request) is not None:
            return held_in(connection, caller.shop, id), True
        current = held_in(connection, caller.shop, id)
        refuse_closed(current)
        _refuse_stale(current, {before.version})
        content["ticks"] = current.content["ticks"]
        connection.execute(update(DRAFTS).where(DRAFTS.c.id == id).values({**values, **_written(grids, content)}))
        _refuse_above_quota(connection, caller.shop)
        remember(connection, request, id)
        return held_in(connection, caller.shop, id), False


def _changed(before: HeldDraft, wanted: DraftChange, caller: Caller) -> tuple[Grids, DraftContent]:
    old = before.content
    kept = [grid for grid in before.grids.grids if grid.name not in wanted.without]
    names = {grid.name for grid in kept}
    for grid in wanted.grids:
        name = _free_name(grid.name, names)
        names.add(name)
        kept.append(TableGrid(name, grid.rows, grid.row_numbers, grid.column_numbers))
    grids = Grids(kept, list(dict.fromkeys([*before.grids.remarks, *wanted.remarks])), before.grids.hidden)
    answers = {key: text for key, text in {**old["answers"], **wanted.answers}.items() if text}
    corrections = {
        place: dict(columns) for place, columns in old["corrections"].items()
        if place.rpartition("!")[0] not in wanted.without
    }  # fmt: skip
    for (place, column), text in wanted.corrections.items():
        columns = {**corrections.get(place, {}), column: text}
        corrections[place] = {name: given for name, given in columns.items() if given}
    corrections = {place: columns for place, columns in corrections.items() if columns}
    authors = list(dict.fromkeys([*old["authors"], caller.id]))
    return grids, {**old, "answers": answers, "corrections": corrections, "authors": authors}


def _free_name(name: str, taken: set[str]) -> str:
    """The name of a table, which its questions contain and so must be its own: `Torques`, `Torques (2)`."""
    name, number = name.replace("!", " ").strip() or "table", 2
    free = name
    while free in taken:
        free, number = f"{name} ({number})", number + 1
    return free


def _refuse_stale(draft: HeldDraft, versions: set[int]) -> None:
    if draft.version not in versions:
        raise Stale(
            "This draft has changed since you opened it, perhaps in another browser: look at it again.",
            current=f'"r{draft.version}.present"',
        )


def refuse_closed(draft: HeldDraft) -> None:
    """Raises Conflict if a draft is loaded, or is being loaded."""
    if draft.loaded is not None:
        text = f"This draft was loaded as revision {draft.loaded} and is closed. Start a new one."
        raise Conflict(text, [Fault("draft-loaded", text)])
    if draft.loading_at is not None and draft.loading_at > now(-dt.timedelta(seconds=LOADING_S)):
        text = "This draft is being loaded. Look at it again in a minute."
        raise Conflict(text, [Fault("draft-loading", text)])


def tick(shop: Database, shop_id: str, id: str, ticks: Mapping[str, Tick]) -> HeldDraft:
    """Keep what the second reader says of rows. Raises NotFound, Conflict."""
    with shop.write() as connection:
        draft = held_in(connection, shop_id, id)
        refuse_closed(draft)
        draft.content["ticks"].update(ticks)
        connection.execute(update(DRAFTS).where(DRAFTS.c.id == id).values(_written(draft.grids, draft.content)))
        return held_in(connection, shop_id, id)


def begin_loading(shop: Database, shop_id: str, id: str, versions: set[int]) -> HeldDraft:
    """Note that a draft is being loaded, before the catalogue is written. Raises NotFound, Stale, Conflict."""
    with shop.write() as connection:
        draft = held_in(connection, shop_id, id)
        refuse_closed(draft)
        _refuse_stale(draft, versions)
        connection.execute(update(DRAFTS).where(DRAFTS.c.id == id).values(loading_at=now()))
        return draft


def end_loading(shop: Database, id: str, revision: int | None) -> None:
    """Close a draft with the revision that it became; open it again if nothing was loaded."""
    with shop.write() as connection:
        connection.execute(update(DRAFTS).where(DRAFTS.c.id == id).values(loading_at=None, loaded=revision))


def interrupted(shop: Database) -> list[tuple[str, int, str]]:
    """Id, version and time of the drafts of all shops whose loading has not ended."""
    wanted = select(DRAFTS.c.id, DRAFTS.c.version, DRAFTS.c.loading_at).where(DRAFTS.c.loading_at.is_not(None))
    with shop.read() as connection:
        return [(row.id, row.version, row.loading_at) for row in connection.execute(wanted)]


def erase(shop: Database, shop_id: str, id: str) -> None:
    """Erase a draft; what was loaded from it stays in the catalogue. Raises NotFound."""
    with shop.write() as connection:
        gone = connection.execute(delete(DRAFTS).where(_own(shop_id), DRAFTS.c.id == id))
        if not gone.rowcount:
            raise NotFound("There is no draft with this id.")


def erase_old_drafts(shop: Database) -> None:
    """Erase the drafts of all shops that nobody has changed for KEEP_DAYS. Raises Unavailable or NoRoom."""
    old = DRAFTS.c.changed_at < now(-dt.timedelta(days=KEEP_DAYS))
    with shop.read() as connection:
        if connection.execute(select(DRAFTS.c.id).where(old).limit(1)).first() is None:
            return
    with shop.write() as connection:
        connection.execute(delete(DRAFTS).where(old))


def _held(row: Fetched[tuple[object, ...]], grids: Grids, content: DraftContent) -> HeldDraft:
    return HeldDraft(
        row.id, row.title, grids, content, row.opened_at, row.opened_by, row.changed_at, row.version, row.loading_at,
        row.loaded,
    )  # fmt: skip


def _own(shop_id: str) -> ColumnElement[bool]:
    return (DRAFTS.c.shop == shop_id) & (DRAFTS.c.changed_at >= now(-dt.timedelta(days=KEEP_DAYS)))
