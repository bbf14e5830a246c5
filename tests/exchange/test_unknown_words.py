"""Words and wheels that no list has, in files, exports and mirrors: what is stored stays readable, byte for byte."""

import asyncio
import datetime as dt
from pathlib import Path

import httpx
import pytest

from app.catalogue.catalogue import Catalogue, Pin
from app.catalogue.content_hash import HASH_VERSION, content_hash
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Chassis, Fastener, Limit, Maker, Source
from app.catalogue.words import read
from app.database.connections import Database
from app.errors import Invalid
from app.exchange.editing import write_edits
from app.exchange.loading import Entry, load
from app.exchange.mirror import follow, verify
from app.exchange.origin import Origin
from app.exchange.read_edits import Edit, read_edits
from app.exchange.writer import export
from tests.api.asking import asking
from tests.conftest import Fresh
from tests.questions.storing import store

WRITTEN = ("Foot-Bolts", "bottom bolt", "Kicker plate", "own: lever pivot")
TODAY = dt.date(2026, 1, 1)


def odd_rows() -> list[Source | Maker | Chassis | Fastener | Limit]:
    """A fork as an older build may have stored it: words outside the lists, and a wheel of 29 mm."""
    bolts = [
        Fastener.checked(id=f"bolt-{at}", chassis="fork", position=read("position", text), kind="bolt", source="manual")
        for at, text in enumerate(WRITTEN)
    ]
    return [
        Source.checked(id="manual", title="Manual", kind="manual"),
        Maker.checked(id="maker", name="Maker"),
        Chassis.checked(id="fork", maker="maker", name="Fork", wheel_sizes=(29, 622), source="manual"),
        Limit.checked(id="limit", chassis="fork", subject="Rider weight", max="125", unit="kg", source="manual"),
        *bolts,
    ]


def positions(snapshot: Snapshot) -> list[str]:
    return [row.cells()["position"] for row in snapshot.all(Fastener)]


def test_an_export_writes_them_as_they_are(database: Database, tmp_path: Path) -> None:
    store(database, odd_rows())
    with Catalogue(database).snapshot() as snapshot:
        export(snapshot, snapshot.revision, tmp_path / "out")
        assert positions(snapshot) == list(WRITTEN)
    lines = (tmp_path / "out" / "fasteners.csv").read_text(encoding="utf-8").splitlines()
    names = lines[0].split(",")
    assert [line.split(",")[names.index("position")] for line in lines[1:]] == list(WRITTEN)
    assert ",29;622," in (tmp_path / "out" / "chassis.csv").read_text(encoding="utf-8")
    assert ",Rider weight," in (tmp_path / "out" / "limits.csv").read_text(encoding="utf-8")


class Here(Origin):
    """The service on a catalogue as an origin, in this process, which also computes the hash."""

    def __init__(self, database: Database) -> None:
        transport = httpx.MockTransport(lambda request: asyncio.run(self.answered(request)))
        super().__init__(httpx.Client(transport=transport, base_url="http://legwork.test"), tries=1)
        self.database = database

    async def answered(self, request: httpx.Request) -> httpx.Response:
        async with asking(self.database) as client:
            found = await client.get(request.url.raw_path.decode(), headers={"Accept": "application/json"})
        return httpx.Response(found.status_code, stream=httpx.ByteStream(found.content))

    def content_hash(self, number: int) -> tuple[str, int]:
        with Catalogue(self.database).snapshot(Pin(number)) as snapshot:
            return content_hash(snapshot), HASH_VERSION


def test_a_mirror_copies_them_and_the_past_stays_readable(fresh_database: Fresh) -> None:
    with fresh_database("sqlite", False) as url, fresh_database("sqlite", False) as copy_url:
        source, copy = Database(url), Database(copy_url)
        store(source, odd_rows())
        (limit,) = [row for row in odd_rows() if row.id == "limit"]
        store(source, [limit.replaced(subject="rider mass")])
        origin = Here(source)
        assert follow(copy, origin) == 2
        assert len(verify(copy, origin, 2)) == 64
        for number, subject in ((1, "Rider weight"), (2, "rider mass")):
            with Catalogue(copy).snapshot(Pin(number)) as ours, Catalogue(source).snapshot(Pin(number)) as theirs:
                assert content_hash(ours) == content_hash(theirs)
                assert positions(ours) == list(WRITTEN)
                assert [row.cells()["subject"] for row in ours.all(Limit)] == [subject]
                assert [row.wheel_sizes for row in ours.all(Chassis)] == [(29, 622)]
        source.close()
        copy.close()


def test_what_stood_before_blocks_no_other_row_and_correcting_it_changes_no_subject(database: Database) -> None:
    store(database, odd_rows())
    with Catalogue(database).snapshot() as snapshot:
        (limit,), (maker,) = snapshot.all(Limit), snapshot.all(Maker)
    named = write_edits(database, [Edit(Maker, "maker", maker.replaced(name="A maker"))], Entry("name", "test"), TODAY)
    assert named.opened
    corrected = limit.replaced(subject="rider mass")
    done = write_edits(database, [Edit(Limit, "limit", corrected)], Entry("the word", "test"), TODAY)
    assert done.opened
    assert done.cells.listed() == [
        {"table": "limits", "id": "limit", "column": "subject", "was": "Rider weight", "now": "rider mass"}
    ]
    other = Edit(Limit, "limit-2", corrected.replaced(id="limit-2", subject="rider load"))
    with pytest.raises(Invalid, match="“rider load” is not a subject of the list; did you mean rider mass"):
        write_edits(database, [other], Entry("a limit", "test"), TODAY)


def test_a_wheel_is_entered_by_its_name_in_a_file_and_in_an_edit(database: Database, tmp_path: Path) -> None:
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / "sources.csv").write_text("id,title,kind\nmanual,Manual,manual\n")
    (folder / "makers.csv").write_text("id,name,source,page\nmaker,Maker,manual,1\n")
    header = "id,maker,name,wheel_sizes,source,page\n"
    (folder / "chassis.csv").write_text(f"{header}fork,maker,Fork,29 mm,manual,2\n")
    refused = load(database, folder, Entry("mine", "test"), orders=False)
    (finding,) = [each for each in refused["findings"] if each["severity"] == "reject"]
    assert (
        "a wheel size must be a bead seat diameter in mm (622, 584, 559, …) or one of 29, 27.5, 26" in finding["text"]
    )
    assert finding["fix"] == "write 29"
    (folder / "chassis.csv").write_text(f"{header}fork,maker,Fork,29;27.5;26,manual,2\n")
    assert load(database, folder, Entry("mine", "test"), orders=False)["opened"]
    with Catalogue(database).snapshot() as snapshot:
        (fork,) = snapshot.all(Chassis)
    assert fork.wheel_sizes == (622, 584, 559)
    put = {"table": "chassis", "op": "put", "row": {**fork.exchanged(), "wheel_sizes": [29, 584]}}
    (edit,) = read_edits([put])
    assert edit.row is not None
    assert edit.row["wheel_sizes"] == (622, 584)
    with pytest.raises(Invalid, match="a wheel size must be a bead seat diameter"):
        read_edits([{**put, "row": {**fork.exchanged(), "wheel_sizes": [20]}}])
