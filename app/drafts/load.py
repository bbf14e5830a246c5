"""Loads a draft: its rows become one revision, with the reason, the author and the second reader.

The rows are derived once more under the write lock of the catalogue, so nothing can change between what is judged and
what is stored. The idempotency key consists of the draft and its version: if the process is killed after the catalogue
was written and before the draft was closed, the revision is found by it.
"""

import datetime as dt
from collections.abc import Sequence

from sqlalchemy import select

from app.access.keys import now
from app.catalogue.catalogue import Catalogue
from app.catalogue.rows import Snapshot
from app.catalogue.stored import REVISIONS
from app.database.connections import Database
from app.drafts import kept
from app.drafts.draft_rows import DerivedDraft, DraftRow, derived
from app.drafts.kept import HeldDraft
from app.errors import Conflict, Fault, Invalid, Refusal
from app.exchange.editing import WrittenEdits, write_edits
from app.exchange.loading import Entry
from app.exchange.read_edits import Edit
from app.rules.finding import report

MOST_LISTED = 20
MOST_REASON = 500
"""Characters of a reason, with the labels of the readers, which are not cut off."""


def key_of_load(id: str, version: int) -> str:
    """The idempotency key of loading a version of a draft."""
    return f"draft:{id}:{version}"


def load_draft(
    shop: Database, catalogue: Database, shop_id: str, id: str, versions: set[int], reason: str, who: str,
    *, second_reader: bool,
) -> WrittenEdits:  # fmt: skip
    """Load a draft as one revision and close it; a version that is loaded already gives its revision once more.

    Raises NotFound; Stale if it has changed since it was read; Conflict if it is loaded already; Invalid, with the
    report of the rules if they refuse a row; Unavailable, NoRoom. The draft stays open then.
    """
    before = kept.held(shop, shop_id, id)
    if before.loaded is not None and before.version in versions:
        loaded = before.loaded
        head = Catalogue(catalogue).answer(lambda snapshot: snapshot.at(loaded))
        return WrittenEdits(head, True, report(()), replayed=True)
    draft = kept.begin_loading(shop, shop_id, id, versions)
    readers = sorted({each["by"] for each in draft.content["ticks"].values() if each["said"] == "so"})
    read_by = f" (read by {', '.join(readers)})" if second_reader and readers else ""
    said = (reason[: max(0, MOST_REASON - len(read_by))] + read_by)[:MOST_REASON]
    key = key_of_load(id, draft.version)
    try:
        done = write_edits(
            catalogue, lambda snapshot: ready_edits(snapshot, draft, second_reader=second_reader),
            Entry(said, who, key, key), dt.datetime.now(dt.UTC).date(),
        )  # fmt: skip
    except Refusal:
        kept.end_loading(shop, id, None)
        raise
    kept.end_loading(shop, id, done.head.number)
    return done


def ready_edits(snapshot: Snapshot, draft: HeldDraft, *, second_reader: bool) -> Sequence[Edit]:
    """The edits of a draft. Raises Invalid that names what is still open."""
    found = derived(snapshot, draft.grids, draft.content)
    faults = open_points(found, draft, second_reader=second_reader)
    edits = found.edits(faults)
    if faults:
        raise Invalid(f"The draft is not ready to load. {faults[0].text}", faults[:MOST_LISTED])
    return edits


def open_points(found: DerivedDraft, draft: HeldDraft, *, second_reader: bool) -> list[Fault]:
    """The points that keep a draft from being loaded, apart from the rules."""
    faults = [
        Fault("question-open", f"Answer “{each.key}”: {each.why}.", pointer="/answers") for each in found.questions
    ]
    rows = found.changing()
    if not rows and not faults:
        faults.append(Fault("nothing-to-load", "The catalogue says all of this already: there is nothing to load."))
    if second_reader:
        faults += [fault for each in rows if (fault := _unread(each, draft)) is not None]
    return faults


def _unread(row: DraftRow, draft: HeldDraft) -> Fault | None:
    tick = draft.content["ticks"].get(row.key)
    if tick is None or tick["content"] != row.digest:
        return Fault("not-read", f"{row.key} waits for the second reader.", pointer="/ticks")
    if tick["said"] == "not so":
        return Fault("not-so", f"The second reader says that {row.key} is not so: {tick.get('note', 'no remark')}.")
    return None


def settle_interrupted(shop: Database, catalogue: Database) -> None:
    """Close the drafts whose load was interrupted after the catalogue was written, and open the others again.

    Raises Unavailable, NoRoom.
    """
    long_ago = now(-dt.timedelta(seconds=kept.LOADING_S))
    for id, version, at in kept.interrupted(shop):
        revision = _revision_of(catalogue, key_of_load(id, version))
        if revision is not None or at < long_ago:
            kept.end_loading(shop, id, revision)


def _revision_of(catalogue: Database, key: str) -> int | None:
    with catalogue.read() as connection:
        found: int | None = connection.execute(
            select(REVISIONS.c.number).where(REVISIONS.c.idempotency_key == key)
        ).scalar()
        return found


def refuse_own(draft: HeldDraft, key: str) -> None:
    """Raises Conflict if a key that changed a draft would read it."""
    if key in draft.content["authors"]:
        text = "You entered this draft, so you cannot be its second reader. Sign in with another key."
        raise Conflict(text, [Fault("own-draft", text)])
