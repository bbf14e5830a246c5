"""Rules and standing warnings over HTTP."""

import csv
import io
import random
from pathlib import Path

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.stored import FINDINGS, OPEN
from app.catalogue.tables import Torque
from app.database.connections import Database
from app.exchange.loading import Entry, load
from app.exchange.reports import PackageReport
from app.rules.registry import RULES
from tests.api.asking import asking
from tests.problems import assert_problem
from tests.questions.storing import store

pytestmark = pytest.mark.anyio


async def test_every_rule_is_listed_with_its_reason_and_how_to_fix_it(loaded: Catalogue) -> None:
    async with asking(loaded.database) as client:
        listed = (await client.get("/v1/rules")).json()
        assert {row["id"] for row in listed["rules"]} == RULES.keys()
        assert listed["total"] == len(RULES)
        assert all(row["what"] and row["why"] and row["fix"] for row in listed["rules"])
        for row in listed["rules"][::10]:
            assert (await client.get(f"/v1/rules/{row['id']}")).json() == row
        rejecting = (await client.get("/v1/rules?severity=reject&family=contradiction")).json()["rules"]
        assert rejecting
        assert {(row["severity"], row["family"]) for row in rejecting} == {("reject", "contradiction")}
        sheet = csv.DictReader(io.StringIO((await client.get("/v1/rules.csv")).text, newline=""))
        assert [row["id"] for row in sheet] == [row["id"] for row in listed["rules"]]


async def test_an_unknown_rule_is_refused_with_the_nearest(loaded: Catalogue) -> None:
    async with asking(loaded.database) as client:
        near = assert_problem(await client.get("/v1/rules/reference-mising"), 404)["candidates"]
        assert near[0]["id"] == "reference-missing"
        for asked, parameter, suggestion in [
            ("findings?rule=reference-mising", "rule", "reference-missing"), ("findings?table=fit", "table", "fits"),
            ("rules?family=contradictions", "family", "contradiction"),
            ("rules?severity=rejects", "severity", "reject"),
        ]:  # fmt: skip
            problem = await client.get(f"/v1/{asked}")
            assert_problem(problem, 422, code="not-a-choice", parameter=parameter, suggestion=suggestion)


async def test_warnings_are_listed_page_by_page_at_each_revision(database: Database) -> None:
    chance = random.Random(5)
    kept = [
        {
            "id": f"h{number}", "revision_from": chance.randint(1, 2), "revision_to": chance.choice([3, OPEN]),
            "shape": "row", "rule": chance.choice(["page-missing", "source-missing"]), "severity": "warn",
            "in_table": chance.choice(["fits", "fills"]), "row_id": chance.choice([None, "a", "b"]), "text": "text",
            "fix": "fix it",
        }
        for number in range(60)
    ]  # fmt: skip
    with database.write() as connection:
        connection.execute(FINDINGS.insert(), kept)
    for _ in range(3):
        store(database)
    async with asking(database) as client:
        for revision in (1, 2, 3):
            for given in ({}, {"rule": "page-missing"}, {"table": "fits", "id": "a"}):
                columns = {"rule": "rule", "table": "in_table", "id": "row_id"}
                expected = sorted(
                    (row["in_table"], row["row_id"] or "", row["rule"])
                    for row in kept
                    if row["revision_from"] <= revision < row["revision_to"]
                    and all(row[columns[name]] == value for name, value in given.items())
                )
                parameters = {**given, "revision": str(revision), "limit": "7"}
                page = (await client.get("/v1/findings", params=parameters)).json()
                found = page["findings"]
                while "next" in page:
                    page = (await client.get(page["next"])).json()
                    found += page["findings"]
                assert [(row["table"], row.get("id", ""), row["rule"]) for row in found] == expected
                assert page["total"] == len(expected)


async def test_what_is_unusual_but_printed_is_accepted_and_listed(demo: Database, tmp_path: Path) -> None:
    """Refused without the words of the page, accepted with them, and listed only if asked for."""
    with Catalogue(demo).snapshot() as snapshot:
        row = next(each for each in snapshot.all(Torque) if each.value is not None and each.unit == "N·m")
    cells = {**row.cells(), "value": "0.05", "min": "", "max": "", "confirmed": ""}
    package = tmp_path / "torques.csv"

    def loaded_with(words: str) -> PackageReport:
        with package.open("w", newline="", encoding="utf-8") as stream:
            writer = csv.DictWriter(stream, list(cells))
            writer.writeheader()
            writer.writerow({**cells, "as_printed": words})
        return load(demo, package, Entry("a test", "tests"))

    assert not loaded_with("")["accepted"]
    assert not loaded_with("Tighten to 5 N·m.")["accepted"], "words without the figure clear nothing"
    report = loaded_with("Tighten to 0.05 N·m.")
    assert report["accepted"]
    assert report["counts"]["accepted"] >= 1
    async with asking(demo) as client:
        accepted = (await client.get(f"/v1/findings?accepted=true&id={row.id}")).json()["findings"]
        assert "torque-outside-band" in {each["rule"] for each in accepted}
        assert all(each["text"].startswith("unusual, as printed: ") for each in accepted)
        others = (await client.get(f"/v1/findings?id={row.id}")).json()["findings"]
        assert all(each["severity"] != "accepted" for each in others)
