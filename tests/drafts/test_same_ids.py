"""A row gets the same id whether it is entered in a form or read from a printed table."""

from collections.abc import Iterator

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.rows import Snapshot
from app.catalogue.tables import TABLES, Torque
from app.database.connections import Database
from app.drafts.delimited import read_pasted
from app.drafts.derive import derive
from app.drafts.desk import Desk
from app.drafts.grid import Grids
from app.web.entry.forms import entry_form
from app.web.entry.reading import filled_in
from tests.conftest import Fresh
from tests.questions.storing import store

CITED = {"chassis": "quembry-trivet-35", "source": "quembry-shop-book-3", "page": "12"}
AXLE = "torque-quembry-trivet-35-axle"


@pytest.fixture(scope="module")
def withdrawn_axle(fresh_database: Fresh) -> Iterator[Catalogue]:
    """The demo, in which a torque had the id that another one of its kind would get, and was withdrawn."""
    with fresh_database("sqlite", True) as url:
        database = Database(url)
        with Catalogue(database).snapshot() as snapshot:
            stored = snapshot.one(Torque, "torque-trivet-35-axle")
        assert stored is not None
        gone = stored.replaced(id=AXLE)
        store(database, [gone], withdrawn=[stored])
        store(database, withdrawn=[gone])
        yield Catalogue(database)
        database.close()


def read(snapshot: Snapshot, printed: str) -> set[tuple[str, str]]:
    """The tables and ids of what a printed table says."""
    answers = CITED | {"kind of the springs": "air"}
    return set(derive(Grids([read_pasted(printed, "grid")]), snapshot, Desk(answers)).found)


def entered(snapshot: Snapshot, table: str, typed: dict[str, str]) -> set[tuple[str, str]]:
    """The tables and ids of what a filled-in form adds."""
    typed = CITED | typed
    form = entry_form(snapshot, TABLES[table], typed, [])
    return {(each.table.table, each.id) for each in filled_in(snapshot, form, typed).edits(snapshot)}


@pytest.mark.parametrize(
    ("table", "typed", "printed", "id"),
    [
        (
            "torques",
            {"fastener-position": "Møre bolt", "fastener-side": "left", "fastener-kind": "bolt", "value": "7.3",
             "unit": "N·m", "travel_from_mm": "150", "travel_to_mm": "150"},
            "Bolt;Side;Torque (N·m);Stage;Travel (mm)\nMøre bolt;left;7.3;1;150",
            "torque-quembry-trivet-35-more-bolt-left-150",
        ),
        (
            "torques",
            {"fastener": "quembry-trivet-35-axle", "value": "13", "unit": "N·m"},
            "Bolt;Torque (N·m)\nAxle;13",
            f"{AXLE}-2",
        ),
        (
            "fits",
            {"spring-name": "Trivet spring 145", "spring-maker": "quembry", "spring-kind": "air",
             "spring-part_number": "QB-0999", "travel_mm": "145"},
            "Travel,Part no.,Name\n145 mm,QB-0999,Trivet spring 145",
            "fit-quembry-trivet-35-quembry-trivet-spring-145-145",
        ),
        (
            "guides",
            {"chamber": "positive", "rider_mass_from": "140", "rider_mass_to": "160", "mass_unit": "lb",
             "pressure": "80", "pressure_unit": "psi", "travel_from_mm": "140", "travel_to_mm": "160"},
            "Travel (mm);Rider mass (lb);Pressure (psi)\n140–160;<140;70\n140–160;140–160;80\n140–160;160–180;90",
            "guide-quembry-trivet-35-positive-140-160-lb-140-160",
        ),
    ],
)  # fmt: skip
def test_a_form_and_a_reading_give_a_row_the_same_id(
    withdrawn_axle: Catalogue, table: str, typed: dict[str, str], printed: str, id: str
) -> None:
    with withdrawn_axle.snapshot() as snapshot:
        by_form, by_reading = entered(snapshot, table, typed), read(snapshot, printed)
    assert (table, id) in by_form
    known = {("fasteners", "quembry-trivet-35-axle")}
    assert by_form <= by_reading, (by_form, by_reading)
    assert {name for name, _ in by_reading - known} == {name for name, _ in by_form}
