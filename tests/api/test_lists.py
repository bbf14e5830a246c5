"""Lists and rows of every table over HTTP. The oracle is the export: its CSV text, filtered by plain Python."""

import base64
import csv
import io
import random
import re
from collections.abc import AsyncIterator
from decimal import Decimal
from typing import Any

import httpx
import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.columns import Column
from app.catalogue.tables import TABLES, Chassis, Fluid, Limit, Maker, Reading, Source
from app.database.connections import Database
from tests.api.asking import asking
from tests.api.exported import Cells, as_cell, export_of
from tests.problems import assert_problem
from tests.questions.storing import store

pytestmark = pytest.mark.anyio

FILTERS = 500  # on each engine


@pytest.fixture
async def demo_client(loaded: Catalogue) -> AsyncIterator[httpx.AsyncClient]:
    """A client of the demo at revision 1."""
    async with asking(loaded.database) as client:
        yield client


@pytest.fixture(scope="module")
def exported(loaded: Catalogue) -> dict[str, list[Cells]]:
    """The export of that revision, as text."""
    return export_of(loaded)


async def whole_list(client: httpx.AsyncClient, address: str, parameters: dict[str, str]) -> list[dict[str, Any]]:
    """The pages of a list, following `next`."""
    response = await client.get(address, params=parameters)
    pages = []
    while True:
        assert response.status_code == 200, response.text
        pages.append(response.json())
        following = pages[-1].get("next")
        assert response.headers.get("link") == (f'<{following}>; rel="next"' if following else None)
        if following is None:
            return pages
        response = await client.get(following)


def spreadsheet(text: str) -> list[Cells]:
    """The rows of a CSV answer, without the apostrophe that stops a spreadsheet from running text as a formula."""
    rows = csv.DictReader(io.StringIO(text, newline=""))
    return [{name: cell[1:] if re.match("'[=+@-]", cell) else cell for name, cell in row.items()} for row in rows]


def holds(cell: str, column: Column, wanted: str) -> bool:
    """Whether a cell matches a filter: a list by one of its items, a number by its value, anything else by its text."""
    items = cell.split(";") if column.kind.items else [cell]
    kind = (column.kind.items or column.kind).name
    if cell and kind in ("number", "figure as published", "whole number"):
        return Decimal(wanted) in [Decimal(item) for item in items]
    return wanted in items


def random_filter(chance: random.Random, table: str, rows: list[Cells]) -> Cells:
    """Up to three columns, each with a value from some row, sometimes spelt differently."""
    columns = TABLES[table].columns()
    given: Cells = {}
    for _ in range(chance.choice([0, 1, 1, 1, 2, 3])):
        name, cell = chance.choice([pair for pair in chance.choice(rows).items() if pair[1]])
        kind = (columns[name].kind.items or columns[name].kind).name
        value = chance.choice(cell.split(";")) if columns[name].kind.items else cell
        if kind in ("number", "figure as published") and chance.random() < 0.5:
            value += "0" if "." in value else ".0"
        given[name] = value
    return given


async def test_pages_count_spreadsheet_and_export_agree_whatever_is_filtered(
    demo_client: httpx.AsyncClient, exported: dict[str, list[Cells]]
) -> None:
    chance = random.Random(13)
    filled = [name for name, rows in exported.items() if rows]
    assert len(filled) >= 20
    matches = 0
    for number in range(FILTERS):
        table = filled[number % len(filled)]
        given = random_filter(chance, table, exported[table])
        columns = TABLES[table].columns()
        expected = [
            row for row in exported[table] if all(holds(row[name], columns[name], given[name]) for name in given)
        ]
        limit = str(chance.randint(max(1, len(expected) // 2), 2 + len(expected)))
        pages = await whole_list(demo_client, f"/v1/{table}", {**given, "limit": limit})
        listed = [row for page in pages for row in page["rows"]]
        assert {page["total"] for page in pages} == {len(expected)}, (table, given)
        shown = [{name: as_cell(row[name]) if name in row else "" for name in columns} for row in listed]
        assert shown == expected, (table, given)
        sheet = await demo_client.get(f"/v1/{table}.csv", params={**given, "limit": str(len(expected) + 1)})
        assert spreadsheet(sheet.text) == expected, (table, given)
        matches += len(expected) > 1
    assert matches > FILTERS // 4


async def test_a_spreadsheet_goes_on_by_its_link(
    demo_client: httpx.AsyncClient, exported: dict[str, list[Cells]]
) -> None:
    following: str | None = "/v1/frames.csv?limit=3"
    rows: list[Cells] = []
    while following:
        page = await demo_client.get(following)
        assert page.headers["content-type"] == "text/csv; charset=utf-8"
        rows += csv.DictReader(io.StringIO(page.text, newline=""))
        following = page.links["next"]["url"] if "next" in page.links else None
    assert rows == exported["frames"]  # negative drops are figures too, not text


CELLS = [
    Source.checked(id="book", title="Book", kind="measured", invented=True),
    Maker.checked(id="one", name="One"),
    Chassis.checked(
        id="a", maker="one", name="A", steerers=("Tapered 100%", "x_y"), wheel_sizes=(584, 622), offsets_mm=(44, 51.5)
    ),
    Chassis.checked(id="b", maker="one", name="B", steerers=("tapered 1000",), wheel_sizes=(622,), offsets_mm=(4,)),
    Fluid.checked(id="f", name="F", kind="grease", packs_ml=(Decimal("7.50"), Decimal("120")), seal_safe=True),
    Fluid.checked(id="g", name="G", kind="grease", density_15_g_per_ml=Decimal("0.900"), seal_safe=False),
    Limit.checked(id="l", chassis="a", subject="play", min=Decimal("-0.0"), max=Decimal("1.20"), unit="mm"),
    Reading.checked(id="r", chassis="a", temperature_c=Decimal("-5.50")),
]


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ("fluids?density_15_g_per_ml=0.9", ["g"]),
        ("fluids?density_15_g_per_ml=.90", ["g"]),
        ("fluids?density_15_g_per_ml=0.09", []),
        ("fluids?density_15_g_per_ml=1e-300", []),
        ("fluids?packs_ml=7.5", ["f"]),
        ("fluids?packs_ml=7.500", ["f"]),
        ("fluids?packs_ml=120.0", ["f"]),
        ("fluids?packs_ml=12", []),
        ("fluids?seal_safe=true", ["f"]),
        ("fluids?seal_safe=false", ["g"]),
        ("limits?min=0", ["l"]),
        ("limits?min=-0", ["l"]),
        ("limits?max=1.2", ["l"]),
        ("readings?temperature_c=-5.5", ["r"]),
        ("readings?temperature_c=5.5", []),
        ("chassis?wheel_sizes=622", ["a", "b"]),
        ("chassis?wheel_sizes=62", []),
        ("chassis?offsets_mm=44.0", ["a"]),
        ("chassis?offsets_mm=4", ["b"]),
        ("chassis?offsets_mm=1e-7", []),
        ("chassis?steerers=Tapered 100%25", ["a"]),
        ("chassis?steerers=tapered 100%25", []),
        ("chassis?steerers=Tapered%25", []),
        ("chassis?steerers=x_y", ["a"]),
        ("chassis?steerers=x%25", []),
        ("chassis?steerers=xyy", []),
        ("chassis?maker=one&name=B", ["b"]),
        ("chassis?maker=two", []),
        ("chassis?name=%25", []),
    ],
)
async def test_a_filter_is_typed_and_taken_literally(database: Database, asked: str, found: list[str]) -> None:
    store(database, CELLS)
    async with asking(database) as client:
        response = await client.get(f"/v1/{asked}")
        assert response.status_code == 200, response.text
        assert [row["id"] for row in response.json()["rows"]] == found


@pytest.mark.parametrize(
    ("asked", "code", "parameter", "suggestion"),
    [
        ("chassis?mker=one", "unknown-parameter", "mker", "maker"),
        ("chassis?maker=one&maker=two", "repeated-parameter", "maker", None),
        ("chassis?crowns=duel", "not-a-choice", "crowns", "dual"),
        ("chassis?wheel_sizes=622.5", "not-an-integer", "wheel_sizes", None),
        ("chassis?wheel_sizes=9999999999", "out-of-range", "wheel_sizes", None),
        ("chassis?offsets_mm=nan", "not-a-number", "offsets_mm", None),
        ("chassis?maker=One", "wrong-form", "maker", None),
        ("chassis?steerers=a;b", "wrong-form", "steerers", None),
        ("fluids?packs_ml=1e300", "out-of-range", "packs_ml", None),
        ("fluids?packs_ml=inf", "not-a-number", "packs_ml", None),
        ("fluids?seal_safe=yes", "not-true-or-false", "seal_safe", None),
        ("sources?published_on=17-05-2024", "wrong-form", "published_on", None),
        ("chassis?limit=0", "out-of-range", "limit", None),
        ("chassis?limit=-1", "out-of-range", "limit", None),
        ("chassis?limit=1000000000", "out-of-range", "limit", None),
        ("fits?q=anything", "unknown-parameter", "q", None),
        ("chassis?q=", "empty", "q", None),
        ("chassis?q=%20", "empty", "q", None),
        ("chassis?torque_unit=bar", "unknown-parameter", "torque_unit", None),
        ("chassis?revision=7", "revision-unknown", "revision", "0"),
    ],
)
async def test_what_a_list_does_not_take_is_refused_by_name(
    database: Database, asked: str, code: str, parameter: str, suggestion: str | None
) -> None:
    async with asking(database) as client:
        response = await client.get(f"/v1/{asked}")
        assert_problem(response, 422, code=code, parameter=parameter, suggestion=suggestion)


async def test_sql_in_any_text_filter_finds_nothing_and_harms_nothing(demo_client: httpx.AsyncClient) -> None:
    before = (await demo_client.get("/v1/revisions/latest")).json()
    for table in TABLES.values():
        for name, column in table.columns().items():
            if (column.kind.items or column.kind).name != "text":
                continue
            for text in ("' OR 1=1 --", '"; DROP TABLE fits; --', "x' UNION SELECT 1 --", "\\'"):
                response = await demo_client.get(f"/v1/{table.table}", params={name: text})
                assert response.status_code == 422 or response.json()["rows"] == [], (table.table, name, text)
    assert (await demo_client.get("/v1/revisions/latest")).json() == before
    assert (await demo_client.get("/v1/fits?limit=1")).json()["total"] > 0


def makers(*ids: str) -> list[Maker]:
    return [Maker(id=id, name=id.upper()) for id in ids]


async def test_a_cursor_goes_on_at_its_revision_and_nowhere_else(database: Database) -> None:
    store(database, makers("a", "b", "c", "d"))
    async with asking(database) as client:
        first = (await client.get("/v1/makers?limit=2")).json()
        store(database, makers("bb", "cc"), withdrawn=makers("d"))
        second = (await client.get(first["next"])).json()
        assert (second["revision"], second["total"]) == (1, 4)
        assert [row["id"] for row in second["rows"]] == ["c", "d"]
        assert "next" not in second
        cursor = first["next"].partition("cursor=")[2]
        for other in ("makers?name=A&limit=2", "makers?q=a", "sources?limit=2", "makers?revision=1", "changes"):
            address = f"/v1/{other}{'&' if '?' in other else '?'}cursor={cursor}"
            assert_problem(await client.get(address), 400, code="cursor-of-another-list", parameter="cursor")
        assert (await client.get(f"/v1/makers?limit=1&cursor={cursor}")).json()["rows"] == second["rows"][:1]


async def test_a_tampered_cursor_is_refused(database: Database) -> None:
    store(database, makers("a", "b", "c"))
    async with asking(database) as client:
        cursor = (await client.get("/v1/makers?limit=1")).json()["next"].partition("cursor=")[2]
        assert cursor.strip("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_") == ""
        raw = base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4))
        forged = base64.urlsafe_b64encode(raw[:6] + raw[6:].replace(b'"a"', b'"b"')).decode().rstrip("=")
        changed = [cursor[:at] + ("A" if cursor[at] != "A" else "B") + cursor[at + 1 :] for at in range(len(cursor))]
        for text in [*changed, forged, cursor[:-1], cursor + "A", "x", "é", "=", "AAAA", cursor + "=="]:
            assert_problem(
                await client.get("/v1/makers", params={"limit": "1", "cursor": text}), 400, parameter="cursor"
            )


async def test_a_cursor_of_a_revision_that_is_no_longer_there_is_refused(database: Database) -> None:
    store(database, makers("a", "b"))
    store(database, makers("c"))
    async with asking(database) as client:
        following = (await client.get("/v1/makers?limit=1")).json()["next"]
        with database.write() as connection:
            connection.exec_driver_sql("DELETE FROM revisions WHERE number = 2")  # as an older backup leaves it
        assert_problem(await client.get(following), 409, code="lineage-unknown")


async def test_invented_data_are_called_so_in_every_answer(database: Database) -> None:
    store(database, CELLS)
    store(database, [Maker(id="two", name="Two", source="book")])
    async with asking(database) as client:
        for address, invented in [
            ("makers?name=Two", True), ("makers?name=One", False), ("sources", True), ("makers/two", True),
            ("makers/one", False), ("makers?q=two", True), ("changes?after=1", True),
        ]:  # fmt: skip
            codes = [caution["code"] for caution in (await client.get(f"/v1/{address}")).json()["cautions"]]
            assert ("invented-data" in codes) is invented, address
            assert "manual-prevails" in codes


async def test_a_table_without_rows_is_an_empty_list(database: Database) -> None:
    async with asking(database) as client:
        for table in TABLES:
            answer = (await client.get(f"/v1/{table}")).json()
            assert (answer["revision"], answer["table"], answer["total"], answer["rows"]) == (0, table, 0, [])
            header = (await client.get(f"/v1/{table}.csv")).text
            assert header == ",".join(TABLES[table].columns()) + "\r\n"
