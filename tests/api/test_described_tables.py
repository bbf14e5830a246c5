"""The tables described for programs. The schema is checked by jsonschema, against all rows of the demo.

Source: JSON Schema 2020-12 (https://json-schema.org/draft/2020-12/schema), through the library's own meta-schema.
"""

import pytest
from jsonschema import Draft202012Validator

from app.catalogue.tables import TABLES
from app.database.connections import Database
from tests.api.asking import asking
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio


async def test_every_row_of_every_table_fits_its_schema(demo: Database) -> None:
    async with asking(demo) as client:
        listed = (await client.get("/v1/tables")).json()["tables"]
        assert [each["name"] for each in listed] == list(TABLES)
        for each in listed:
            answer = await client.get(each["schema_href"])
            schema = answer.json()
            Draft202012Validator.check_schema(schema)
            check = Draft202012Validator(schema)
            rows = (await client.get(f"{each['href']}?limit=1000")).json()["rows"]
            assert rows, each["name"]
            for row in rows:
                check.validate(row)
                assert not check.is_valid({**row, "colour-of-the-box": "blue"})
                assert not check.is_valid({name: value for name, value in row.items() if name != "id"})
            columns = TABLES[each["name"]].columns()
            assert list(schema["properties"]) == list(columns)
            for name, column in columns.items():
                said = schema["properties"][name]
                annotated = said.get("x-unit"), said.get("x-unit-in"), said.get("x-refers-to")
                assert annotated == (column.unit, column.unit_column, column.refers_to)


async def test_an_unknown_table_is_named_with_the_one_that_was_meant(demo: Database) -> None:
    async with asking(demo) as client:
        problem = assert_problem(await client.get("/v1/tables/torqes/schema"), 404)
        assert "torques" in problem["detail"]
        assert_problem(await client.get("/v1/tables/quite-another/schema"), 404)


@pytest.mark.parametrize(
    ("path", "asked"),
    [
        ("/v1/torques", {}),
        ("/v1/changes", {}),
        ("/v1/findings", {}),
        ("/v1/compare", {"from": "0", "to": "1"}),
        ("/v1/sources/tarnoch-fork-manual-b/rows", {}),
    ],
)
async def test_the_cursor_of_the_next_page_is_given_alone_too(demo: Database, path: str, asked: dict[str, str]) -> None:
    async with asking(demo) as client:
        first = {**asked, "limit": "1"}
        page = (await client.get(path, params=first)).json()
        by_address = (await client.get(page["next"])).json()
        by_cursor = (await client.get(path, params={**first, "cursor": page["next_cursor"]})).json()
        assert by_address == by_cursor
