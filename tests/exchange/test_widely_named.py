"""An edit of a thing that very many families refer to is refused while a client waits; up to the limit it is judged."""

from datetime import date

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import Source, Torque
from app.database.connections import Database
from app.errors import Invalid
from app.exchange import editing
from app.exchange.editing import check_edits, write_edits
from app.exchange.loading import Entry
from app.exchange.read_edits import Edit

TODAY = date(2026, 6, 1)
MANUAL = "tarnoch-fork-manual-b"


def earlier(database: Database) -> tuple[list[Edit], int]:
    """The manual, published a month earlier, and how many families of the demo name it."""
    with Catalogue(database).snapshot() as snapshot:
        manual = snapshot.one(Source, MANUAL)
        assert manual is not None
        assert manual.published_on == "2021-01"
        forks = {row.chassis for row in snapshot.where(Torque, "source", MANUAL)}
        dated = Source.from_parsed({**manual.values(), "published_on": "2020-12"})
    assert len(forks) > 2
    return [Edit(Source, MANUAL, dated)], len(forks)


def test_more_families_than_are_judged_at_once_are_refused_and_nothing_is_written(
    demo: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    edits, families = earlier(demo)
    monkeypatch.setattr(editing, "MOST_FAMILIES", families - 2)
    with pytest.raises(Invalid, match=r"families use.*package") as written:
        write_edits(demo, edits, Entry("a month earlier", "tests"), TODAY)
    with pytest.raises(Invalid) as checked:
        Catalogue(demo).answer(lambda snapshot: check_edits(snapshot, edits, TODAY))
    for refused in (written.value, checked.value):
        assert [fault.code for fault in refused.faults] == ["named-too-widely"]
    assert Catalogue(demo).answer(lambda snapshot: snapshot.revision) == 1


def test_as_many_families_as_are_judged_at_once_are(demo: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    edits, families = earlier(demo)
    monkeypatch.setattr(editing, "MOST_FAMILIES", families)
    assert write_edits(demo, edits, Entry("a month earlier", "tests"), TODAY).head.number == 2


def test_what_no_family_reads_of_a_thing_may_be_changed_however_many_name_it(
    demo: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Catalogue(demo).snapshot() as snapshot:
        manual = snapshot.one(Source, MANUAL)
    assert manual is not None
    titled = Edit(Source, MANUAL, Source.from_parsed({**manual.values(), "title": "Manual B, second printing"}))
    monkeypatch.setattr(editing, "MOST_FAMILIES", -1)  # with one change: none
    assert write_edits(demo, [titled], Entry("its title", "tests"), TODAY).head.number == 2
