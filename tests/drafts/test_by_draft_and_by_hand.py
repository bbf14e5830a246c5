"""The same manual entered by a draft and row by row in forms gives the same catalogue; undoing a draft gives the former
one. The manuals are invented: one of an air fork, and a bulletin."""

import datetime as dt
import random

import pytest

from app.access.keys import Caller
from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import TABLES, Chassis, Maker, Source
from app.database.connections import Database
from app.drafts import kept, load
from app.drafts.content import DraftStart
from app.drafts.delimited import read_pasted
from app.drafts.draft_rows import derived, seen_cells
from app.drafts.kept import DraftChange, HeldDraft
from app.exchange.editing import write_edits
from app.exchange.loading import Entry
from app.web.entry.forms import entry_form
from app.web.entry.reading import filled_in
from tests.conftest import Fresh
from tests.drafts.drafting import all_rows, hash_of
from tests.questions.storing import store

OFFICE = Caller("0123456789ab", "office", frozenset(["edit"]), "left")
CHASSIS = Chassis.checked(
    id="tullow-brack-2022", maker="tullow", name="Brack", model_year_from=2022, model_year_to=2025, crowns="single",
    wheel_sizes=(584, 622), travel_min_mm=130, travel_max_mm=160,
)  # fmt: skip
SOURCE = Source.checked(id="brack-manual", maker="tullow", title="Brack manual", kind="manual", published_on="2022-03")
BASE = [Maker.checked(id="tullow", name="Tullow"), SOURCE, CHASSIS]
ABOUT = {"chassis": CHASSIS.id, "source": SOURCE.id}
Typed = dict[str, str]
Manual = tuple[dict[str, str], dict[str, str], list[tuple[str, Typed]]]

AIR: Manual = (
    {
        "Springs": "Travel (mm)\tPart no.\tName\tMax spacers\tMax. pressure (psi)\n140\tTB-140\tAir 140\t3\t150\n"
        "160\tTB-160\tAir 160\t2\t150",
        "Pressures": "Rider mass (kg);Pressure (psi)\n55–65;52\n65–75;60,5\n75–85;N/A",
    },
    {"page of Springs": "8", "page of Pressures": "9", "kind of the springs": "air",
     "chamber": "positive", "mass_is": "with gear"},
    [
        *(
            (
                "fits",
                {"spring-name": f"Air {travel}", "spring-maker": "tullow", "spring-kind": "air",
                 "spring-part_number": f"TB-{travel}", "travel_mm": travel, "spacer_limit": spacers,
                 "pressure_limit": "150", "pressure_unit": "psi", "page": "8"},
            )
            for travel, spacers in (("140", "3"), ("160", "2"))
        ),
        *(
            (
                "guides",
                {"chamber": "positive", "mass_is": "with gear", "rider_mass_from": low, "rider_mass_to": high,
                 "mass_unit": "kg", "pressure": pressure, "pressure_unit": "psi", "page": "9"},
            )
            for low, high, pressure in (("55", "65", "52"), ("65", "75", "60.5"))
        ),
    ],
)  # fmt: skip
BULLETIN: Manual = (
    {"Torques": "Bolt;Side;Torque (N·m)\nFoot bolt;damper side;7,3 ± 0,5\nTop cap;spring side;max. 28\nAxle;;1O"},
    {"page of Torques": "2", "value: 1O": "10", "kind of Axle": "bolt"},
    [
        (
            "torques",
            {"fastener-position": position, "fastener-kind": kind, "unit": "N·m", "page": "2",
             **({"fastener-side": side} if side else {}), **figures},
        )
        for position, side, kind, figures in (
            ("foot bolt", "damper side", "bolt", {"value": "7.3", "min": "6.8", "max": "7.8"}),
            ("top cap", "spring side", "cap", {"max": "28"}),
            ("axle", "", "bolt", {"value": "10"}),
        )
    ],
)  # fmt: skip


def drafted(
    shop: Database, database: Database, tables: dict[str, str], answers: dict[str, str], start: DraftStart | None = None
) -> HeldDraft:
    """A draft with these tables and answers."""
    draft, _ = kept.open_draft(shop, OFFICE, "manual", start or {"kind": "empty"}, answers)
    grids = tuple(read_pasted(text, name) for name, text in tables.items())
    catalogue = Catalogue(database)
    changed, _ = kept.change(
        shop, OFFICE, draft.id, DraftChange(grids=grids), {1},
        lambda given, content: catalogue.answer(lambda snapshot: seen_cells(snapshot, given, content)),
    )  # fmt: skip
    return changed


def loaded(shop: Database, database: Database, draft: HeldDraft) -> int:
    """Load a draft that nobody else reads; returns its revision."""
    return load.load_draft(
        shop, database, "left", draft.id, {draft.version}, "a manual", "office", second_reader=False
    ).head.number


def entered(database: Database, rows: list[tuple[str, Typed]]) -> None:
    """Enter rows one by one in forms."""
    for table, typed in rows:
        given = {**ABOUT, **typed}
        with Catalogue(database).snapshot() as snapshot:
            form = entry_form(snapshot, TABLES[table], given, [])
            edits = filled_in(snapshot, form, given).edits(snapshot)
        write_edits(database, edits, Entry("by hand", "office"), dt.date(2026, 11, 1))


@pytest.mark.parametrize("manual", [AIR, BULLETIN], ids=["air", "bulletin"])
def test_a_manual_by_draft_is_the_manual_by_hand_row_by_row(
    fresh_database: Fresh, shop: Database, manual: Manual
) -> None:
    tables, answers, by_hand = manual
    with fresh_database("sqlite", False) as url, fresh_database("sqlite", False) as other:
        one, two = Database(url), Database(other)
        for database in (one, two):
            store(database, BASE)
        draft = drafted(shop, one, tables, {**ABOUT, **answers})
        with Catalogue(one).snapshot() as snapshot:
            assert derived(snapshot, draft.grids, draft.content).questions == []
        loaded(shop, one, draft)
        entered(two, by_hand)
        assert all_rows(one) == all_rows(two)
        one.close()
        two.close()


POSITIONS = ("Foot bolt", "own: arch bolt", "own: guard bolt", "Crown bolt", "Stem bolt", "own: lug bolt")


def random_table(chance: random.Random) -> str:
    """Torques of some of the fasteners."""
    lines = [f"{name};{chance.randint(70, 99)}" for name in chance.sample(POSITIONS, chance.randint(1, 6))]
    return "\n".join(["Bolt;Torque (in-lb)", *lines])


def test_random_drafts_loaded_and_undone_give_the_former_content(fresh_database: Fresh, shop: Database) -> None:
    chance = random.Random(25)
    kinds = {f"kind of {name}": "bolt" for name in POSITIONS}
    with fresh_database("sqlite", False) as url:
        database = Database(url)
        store(database, BASE)
        hashes = [hash_of(database)]
        revisions = []
        for number in range(8):
            answers = {**ABOUT, **kinds, "page": str(number + 1)}
            revisions.append(
                loaded(shop, database, drafted(shop, database, {"Torques": random_table(chance)}, answers))
            )
            hashes.append(hash_of(database))
        assert len(set(hashes)) == len(hashes)
        for revision, former in zip(reversed(revisions), reversed(hashes[:-1]), strict=True):
            undo = drafted(shop, database, {}, {}, {"kind": "undo", "revision": revision})
            loaded(shop, database, undo)
            assert hash_of(database) == former
        database.close()
