"""Lists in scopes, fitted parts and superseded sources as they are exchanged: read, exported, mirrored."""

from pathlib import Path
from typing import Any

import httpx
import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.content_hash import content_hash, lines_of
from app.catalogue.tables import Chassis, Part, Row, Source, Torque
from app.database.connections import Database
from app.errors import Invalid
from app.exchange.loading import Entry, load
from app.exchange.mirror import follow, verify
from app.exchange.origin import Origin
from app.exchange.read_edits import read_edits
from app.exchange.writer import export
from tests.conftest import ENGINES, Fresh
from tests.exchange.serving import serving
from tests.exchange.test_round_trip import contents
from tests.questions.storing import store

CAP = "torque-trivet-35-axle"


def edit(**row: Any) -> Torque:
    put = {"table": "torques", "op": "put", "row": {"id": "t", "chassis": "c", "fastener": "f", **row}}
    (read,) = read_edits([put])
    assert isinstance(read.row, Torque)
    return read.row


@pytest.mark.parametrize(
    ("column", "one", "text"), [("variant", "early", "early"), ("damper", "bath", "bath"), ("wheel_size", 622, "622")]
)
def test_a_single_value_is_read_as_a_list_of_one_with_the_same_hash(column: str, one: object, text: str) -> None:
    single, listed = edit(**{column: one}), edit(**{column: [one]})
    assert single.cells() == listed.cells()
    assert single.exchanged()[column] == [one]
    assert f'["torques","t","{column}","{text}"]\n' in lines_of(single)


@pytest.mark.parametrize(
    ("column", "value", "why"),
    [
        ("variant", ["early", "early"], "same item twice"),
        ("damper", ["a;b"], "semicolon"),
        ("wheel_size", "622", "takes a whole number"),
        ("fitted_part", ["crown"], "takes a id"),
    ],
)
def test_what_is_no_list_of_ids_is_refused_with_the_reason(column: str, value: object, why: str) -> None:
    with pytest.raises(Invalid) as refusal:
        edit(**{column: value})
    (fault,) = refusal.value.faults
    assert fault.pointer == f"/row/{column}"
    assert why in fault.text


def scoped(database: Database) -> list[Row]:
    """A figure with everything that a scope can list, and the source it is from, which replaces another."""
    with Catalogue(database).snapshot() as snapshot:
        cap = snapshot.one(Torque, CAP)
        assert cap is not None
        chassis = snapshot.one(Chassis, cap.chassis)
        assert chassis is not None
        replaced = next(iter(snapshot.all(Source))).id
    crown = Part.checked(id="crown-carbon", name="Carbon crown", maker=chassis.maker, kind="crown")
    note = Source.checked(
        id="note-new", maker=chassis.maker, title="New note", kind="bulletin", supersedes=(replaced,),
        published_on="2024", invented=True,
    )  # fmt: skip
    narrow = cap.replaced(
        id="of-crown", exception_to=CAP, damper=chassis.dampers, wheel_size=chassis.wheel_sizes, fitted_part=crown.id,
        source=note.id, page="1",
    )  # fmt: skip
    return [crown, note, narrow]


@pytest.mark.parametrize("engine", ENGINES)
def test_lists_come_through_export_load_and_mirror(engine: str, fresh_database: Fresh, tmp_path: Path) -> None:
    with (
        fresh_database(engine, True) as url,
        fresh_database(engine, False) as copy_url,
        fresh_database(engine, False) as loaded_url,
    ):
        source, copy, loaded = (Database(each) for each in (url, copy_url, loaded_url))
        number = store(source, scoped(source))
        with serving(source, tmp_path) as (address, _), httpx.Client(base_url=address, timeout=60) as client:
            origin = Origin(client)
            follow(copy, origin)
            verify(copy, origin, number)
        with Catalogue(source).snapshot() as snapshot:
            export(snapshot, number, tmp_path / "out")
            (narrow,) = snapshot.where(Torque, "fitted_part", "crown-carbon")
            assert len(narrow.damper or ()) > 1
            assert narrow in snapshot.where(Torque, "damper", (narrow.damper or ("",))[1])
            assert narrow in snapshot.where(Torque, "wheel_size", (narrow.wheel_size or (0,))[-1])
            wanted = content_hash(snapshot)
        report = load(loaded, tmp_path / "out", Entry("lists", "test"))
        assert report["accepted"], report["findings"][:3]
        with Catalogue(loaded).snapshot() as snapshot:
            export(snapshot, number, tmp_path / "again")
        assert contents(tmp_path / "again") == contents(tmp_path / "out")
        for database in (copy, loaded):
            with Catalogue(database).snapshot() as snapshot:
                assert content_hash(snapshot) == wanted
        for database in (source, copy, loaded):
            database.close()
