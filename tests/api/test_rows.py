"""One row of each table over HTTP: its content, its links, and the refusal if it does not exist."""

from collections.abc import AsyncIterator

import httpx
import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import TABLES, Chassis, Maker, Spring
from app.database.connections import Database
from tests.api.asking import asking
from tests.api.exported import Cells, as_cell, export_of
from tests.problems import assert_problem
from tests.questions.storing import store

pytestmark = pytest.mark.anyio


@pytest.fixture
async def demo_client(loaded: Catalogue) -> AsyncIterator[httpx.AsyncClient]:
    """A client of the demo at revision 1."""
    async with asking(loaded.database) as client:
        yield client


@pytest.fixture(scope="module")
def exported(loaded: Catalogue) -> dict[str, list[Cells]]:
    """The export of that revision, as text."""
    return export_of(loaded)


async def test_every_row_of_every_table_leads_where_its_links_say(
    demo_client: httpx.AsyncClient, exported: dict[str, list[Cells]]
) -> None:
    for table, rows in exported.items():
        for cells in rows[:: max(1, len(rows) // 2)]:
            answer = (await demo_client.get(f"/v1/{table}/{cells['id']}")).json()
            assert (answer["table"], answer["row"]["id"], answer["revision_from"]) == (table, cells["id"], 1)
            links = answer["links"]
            assert (await demo_client.get(links["self"])).json() == answer
            for link in links["refers_to"]:
                target = (await demo_client.get(link["href"])).json()
                assert (target["table"], target["row"]["id"]) == (link["table"], link["id"])
                assert link["id"] in cells[link["column"]].split(";")
            for link in links["referred_by"]:
                found = (await demo_client.get(link["href"])).json()
                assert found["total"] > 0
                assert all(cells["id"] in as_cell(row[link["column"]]).split(";") for row in found["rows"])


async def test_what_refers_to_a_row_is_all_linked(
    demo_client: httpx.AsyncClient, exported: dict[str, list[Cells]]
) -> None:
    spring = exported["fits"][0]["spring"]
    expected = {
        (table, name)
        for table, rows in exported.items()
        for name in TABLES[table].columns()
        if TABLES[table].columns()[name].refers_to == "springs" and any(spring in row[name].split(";") for row in rows)
    }
    links = (await demo_client.get(f"/v1/springs/{spring}")).json()["links"]["referred_by"]
    assert {(link["table"], link["column"]) for link in links} == expected
    assert ("fits", "spring") in expected


async def test_a_chassis_comes_with_variants_travels_dampers_and_questions(
    demo_client: httpx.AsyncClient, exported: dict[str, list[Cells]]
) -> None:
    for chassis in exported["chassis"]:
        answer = (await demo_client.get(f"/v1/chassis/{chassis['id']}")).json()
        own = [row for row in exported["variants"] if row["chassis"] == chassis["id"]]
        assert [row["id"] for row in answer["variants"]] == [row["id"] for row in own]
        travels = {float(row["travel_mm"]) for row in exported["fits"] if row["chassis"] == chassis["id"]}
        assert [travel["value"] for travel in answer["travels"]] == sorted(travels)
        assert {travel["unit"] for travel in answer["travels"]} <= {"mm"}
        assert ";".join(damper["id"] for damper in answer["dampers"]) == chassis["dampers"]
        questions = {link["name"]: link["href"] for link in answer["links"]["questions"]}
        assert questions.keys() >= {"fits", "sheet"}
        assert (await demo_client.get(questions["fits"])).status_code == 200


async def test_a_withdrawn_row_is_gone_with_what_it_was(database: Database) -> None:
    store(database, [Maker(id="a", name="First")])
    store(database, [Maker(id="a", name="Second")])
    store(database, withdrawn=[Maker(id="a", name="Second")])
    async with asking(database) as client:
        problem = assert_problem(await client.get("/v1/makers/a"), 410)
        assert problem["withdrawn_with"] == 3
        assert problem["history"] == [
            {"revision_from": 1, "revision_to": 2, "row": {"id": "a", "name": "First"}},
            {"revision_from": 2, "revision_to": 3, "row": {"id": "a", "name": "Second"}},
        ]
        then = (await client.get("/v1/makers/a?revision=2")).json()
        assert (then["revision"], then["revision_from"], then["row"]["name"]) == (2, 2, "Second")
        assert_problem(await client.get("/v1/makers/a?revision=0"), 404)
        assert (await client.get("/v1/makers")).json()["rows"] == []


async def test_a_name_is_found_in_whatever_table(database: Database) -> None:
    store(
        database,
        [
            Maker.checked(id="fjell", name="Fjell"), Chassis.checked(id="fjell-skarn-35", maker="fjell", name="Skarn"),
            Spring.checked(id="s", maker="fjell", name="Skarn air", part_number="SK-150", kind="air"),
        ],
    )  # fmt: skip
    async with asking(database) as client:
        answer = (await client.get("/v1/search?q=skran")).json()
        assert {(hit["table"], hit["id"]) for hit in answer["hits"]} == {
            ("chassis", "fjell-skarn-35"),
            ("springs", "s"),
        }
        assert answer["tables"] == {"chassis": 1, "springs": 1}
        for hit in answer["hits"]:
            assert (await client.get(hit["href"])).json()["row"]["name"] == hit["name"].removeprefix("Fjell ")
        part = (await client.get("/v1/search?q=sk150&limit=1")).json()["hits"]
        assert [(hit["id"], hit["part_number"], hit["score"]) for hit in part] == [("s", "SK-150", 1.0)]
        few = (await client.get("/v1/search?q=fjell&limit=1")).json()
        assert (len(few["hits"]), few["hits"][0]["table"]) == (1, "chassis")
        assert few["total"] == sum(few["tables"].values()) > 1
        assert (await client.get("/v1/search.csv?q=fjell")).text.startswith("table,id,kind,name,")
        for asked, code in (("", "missing"), ("?q=", "empty"), ("?q=%20", "empty"), (f"?q={'a' * 201}", "too-long")):
            assert_problem(await client.get(f"/v1/search{asked}"), 422, code=code, parameter="q")
