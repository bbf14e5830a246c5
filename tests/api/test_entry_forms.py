"""A gap is a form: a missing figure is entered from the page that lists it as missing, and stands there afterwards."""

import csv
import re
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

import app
from app.access import keys
from app.catalogue.tables import TABLES
from app.database.connections import Database
from app.exchange.loading import Entry, load
from app.web.entry import choices as entry_choices
from app.web.representation.entry_links import CLOSING
from tests.api.tapping import Person
from tests.api.writing import Writing, writing
from tests.bench.browsing import OURS, browser
from tests.bench.working import Bench
from tests.conftest import SEED_DATA, Fresh
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio
APP = Path(app.__file__).parent
CHASSIS = "quembry-trivet-35"


class Shop:
    """A service on the demo, and the key of an editor."""

    def __init__(self, service: Writing) -> None:
        self.service = service
        self.key = str(keys.add(service.shop, "editor 1", ["edit", "bench"]).token)
        self.bench = Bench(service, self.key)

    async def withdraw(self, *ids: str) -> None:
        """Make gaps."""
        for table, id in (each.split("/") for each in ids):
            change = {"table": table, "op": "withdraw", "id": id}
            answer = await self.bench("POST", "/v1/imports", {"changes": [change], "reason": "to make a gap"})
            assert answer.status_code == 201, answer.text

    async def row(self, table: str, id: str) -> dict[str, object]:
        """A row as exchanged."""
        return dict((await self.bench.get(f"/v1/{table}/{id}"))["row"])


@pytest.fixture
async def shop(fresh_database: Fresh, tmp_path: Path) -> AsyncIterator[Shop]:
    """A shop with a catalogue of its own, on SQLite."""
    with fresh_database("sqlite", True) as url:
        database = Database(url)
        async with writing(database, tmp_path) as service:
            yield Shop(service)
        database.close()


@pytest.fixture
async def person(shop: Shop) -> AsyncIterator[Person]:
    """An editor at a browser, signed in."""
    async with browser(shop.bench) as client:
        answer = await client.post("/sign-in", data={"key": shop.key}, headers=OURS)
        assert answer.status_code == 303
        yield Person(client)


SHEET = f"/v1/chassis/{CHASSIS}/sheet?travel=150&model_year=2023&wheel_size=622"
CITE = "&cite=quembry-shop-book-3%2C12"
"""The source and page of an entry before."""


async def test_a_gap_is_entered_from_the_sheet_and_stands_there_after(shop: Shop, person: Person) -> None:
    await shop.withdraw("torques/torque-trivet-35-axle", "fills/fill-trivet-35-spring-leg")
    await person.open(SHEET)
    assert "115" not in person.text
    await person.tap("Enter it", "fastener=quembry-trivet-35-axle")
    person.fill("Torque", "115 in·lbf")
    person.fill("Document that states this", "edition 3rd")
    person.fill("Page", "12")
    await person.save()
    assert person.status == 200, person.text
    assert person.at.startswith(SHEET)
    assert "#at-torque-quembry-trivet-35-axle" in person.at
    assert 'id="at-torque-quembry-trivet-35-axle"' in person.html
    assert person.actions == 5
    stored = await shop.row("torques", "torque-quembry-trivet-35-axle")
    assert stored == {
        "id": "torque-quembry-trivet-35-axle", "chassis": CHASSIS, "fastener": "quembry-trivet-35-axle",
        "value": "115", "unit": "in·lbf", "source": "quembry-shop-book-3", "page": "12",
    }  # fmt: skip
    await person.tap("Enter it", "chamber=spring-side")
    person.fill("Oil", "Smerrow Heavy Bath")
    person.fill("Volume", "8")
    person.fill("Unit of the volumes", "mL")
    await person.save()
    assert person.actions == 10, "source and page are those of the entry before"
    filled = await shop.row("fills", "fill-quembry-trivet-35-spring-side-lower-leg")
    assert (filled["value"], filled["unit"], filled["fluid"]) == ("8", "mL", "smerrow-heavy-bath")
    assert (filled["source"], filled["page"]) == ("quembry-shop-book-3", "12")
    assert "chamber=spring-side" not in person.html
    *_, before, last = [(each["path"], each["reason"], each["revision"]) for each in shop.service.audit()]
    assert (before[0], last[0]) == ("/enter/torques", "/enter/fills")
    assert last[1:] == ("entered a row of fills", 5)


async def test_limits_of_a_fit_and_a_start_pressure_are_entered_like_that(shop: Shop, person: Person) -> None:
    fit = (await shop.row("fits", "fit-trivet-35-run-two-150-622")) | {"id": "fit-trivet-35-run-two-150-622"}
    less = {name: value for name, value in fit.items() if name not in ("spacer_limit", "axle_to_crown_mm")}
    guides = [each["id"] for each in (await shop.bench.get(f"/v1/guides?chassis={CHASSIS}"))["rows"]]
    changes = [{"table": "fits", "op": "put", "row": less, "empty": ["spacer_limit", "axle_to_crown_mm"]}]
    changes += [{"table": "guides", "op": "withdraw", "id": id} for id in guides]
    assert (await shop.bench("POST", "/v1/imports", {"changes": changes, "reason": "gaps"})).status_code == 201
    await person.open(f"{SHEET}&variant=quembry-trivet-35-run-two")
    await person.tap("Enter it", "ask=spacer%2Cspacer_limit")
    person.fill("Maximum number of volume spacers", str(fit["spacer_limit"]))
    await person.save()
    await person.tap("Enter it", "ask=axle_to_crown_mm")
    person.fill("Axle-to-crown at this travel", str(fit["axle_to_crown_mm"]))
    await person.save()
    assert await shop.row("fits", str(fit["id"])) == fit
    await person.tap("Enter it", "/enter/guides")
    for label, value in (
        ("Rider mass from", "160"), ("Rider mass to", "180"), ("Unit of the masses", "lb"),
        ("Start pressure", "80 psi"), ("Sag that results", "20"), ("Document", "edition 3rd"), ("Page", "16"),
    ):  # fmt: skip
        person.fill(label, value)
    await person.save()
    assert person.status == 200, person.text
    assert await shop.row("guides", f"guide-{CHASSIS}-160-180-lb") == {
        "id": f"guide-{CHASSIS}-160-180-lb", "chassis": CHASSIS, "rider_mass_from": "160", "rider_mass_to": "180",
        "mass_unit": "lb", "pressure": "80", "pressure_unit": "psi", "sag_percent": "20",
        "source": "quembry-shop-book-3", "page": "16",
    }  # fmt: skip


async def test_what_cannot_be_read_or_is_unusual_is_said_beside_its_field_and_nothing_typed_is_lost(
    shop: Shop, person: Person
) -> None:
    await shop.withdraw("torques/torque-trivet-35-axle")
    await person.open(f"{SHEET}{CITE}")
    await person.tap("Enter it", "fastener=quembry-trivet-35-axle")
    person.fill("Torque", "7,3")
    await person.save()
    assert person.status == 422
    assert "write 7.3" in person.text
    assert 'aria-describedby="w-value"' in person.html
    assert 'name="page" value="12"' in person.html
    person.fill("Torque", "34")
    person.fill("Unit of the torques", "N·m")
    await person.save()
    assert person.status == 422
    assert "an axle takes 3 to 25 N·m" in person.text
    assert 'value="34"' in person.html
    person.fill("As printed", "Axle: 34 N·m")
    await person.save()
    assert person.status == 200, person.text
    stored = await shop.row("torques", "torque-quembry-trivet-35-axle")
    assert (stored["value"], stored["as_printed"], stored["page"]) == ("34", "Axle: 34 N·m", "12")


async def test_a_figure_is_corrected_where_it_stands_unless_somebody_was_quicker(shop: Shop, person: Person) -> None:
    await person.open(SHEET)
    await person.tap("Correct this", "torque-trivet-35-axle")
    before = await shop.row("torques", "torque-trivet-35-axle")
    person.fill("Torque", "117")
    async with browser(shop.bench) as client:
        await client.post("/sign-in", data={"key": shop.key}, headers=OURS)
        other = Person(client)
        await other.open("/enter/torques/torque-trivet-35-axle")
        other.fill("Torque", "116")
        await other.save()
        assert other.at == "/v1/torques/torque-trivet-35-axle#at-torque-trivet-35-axle"
    assert await shop.row("torques", "torque-trivet-35-axle") == {**before, "value": "116"}
    await person.save()
    assert person.status == 412
    assert "has changed since it was read" in person.text
    assert 'value="117"' in person.html
    await person.open(SHEET)
    await person.tap("Correct this", "torque-trivet-35-axle")
    person.fill("Torque", "117")
    await person.save()
    assert person.at == f"{SHEET}{CITE}#at-torque-trivet-35-axle"
    assert await shop.row("torques", "torque-trivet-35-axle") == {**before, "value": "117"}


async def test_whoever_is_signed_out_signs_in_on_the_way_and_others_are_not_offered_it(shop: Shop) -> None:
    await shop.withdraw("torques/torque-trivet-35-axle")
    async with browser(shop.bench) as client:
        person = Person(client)
        await person.open(SHEET)
        assert "Correct this" not in person.text
        await person.tap("Enter it", "quembry-trivet-35-axle")
        await person.sign_in(shop.key)
        person.fill("Torque", "115 in·lbf")
        await client.post("/sign-out", headers={**OURS, "Content-Type": "application/x-www-form-urlencoded"})
        await person.save()
        assert person.status == 401
        assert "115 in·lbf" in person.text
        only_bench = str(keys.add(shop.service.shop, "bench 2", ["bench"]).token)
        await client.post("/sign-in", data={"key": only_bench}, headers=OURS)
        await person.open(SHEET)
        assert "Enter it" not in person.text
        plain = {**OURS, "Accept": "*/*"}
        for path in ("/enter", "/enter/fork", "/enter/torques", "/enter/torques/torque-trivet-35-top-cap"):
            assert_problem(await client.get(path, headers=plain), 403)
        for path in ("/enter/torques", "/enter/fork"):
            assert_problem(await client.post(path, data={"value": "1"}, headers=plain), 403)
            assert_problem(await client.post(path, data={"value": "1"}, headers={"Origin": "http://evil.test"}), 403)


async def test_a_form_sent_twice_is_stored_once(shop: Shop, person: Person) -> None:
    await shop.withdraw("torques/torque-trivet-35-axle")
    await person.open(f"{SHEET}{CITE}")
    await person.tap("Enter it", "fastener=quembry-trivet-35-axle")
    sent = {each.name: each.value for each in person.form.controls} | {"value": "115", "unit": "in·lbf"}
    answers = [await person.client.post("/enter/torques", data=sent, headers=OURS) for _ in range(2)]
    assert [each.status_code for each in answers] == [303, 303], answers[1].text
    assert {each.headers["location"] for each in answers} == {f"{SHEET}{CITE}#at-torque-quembry-trivet-35-axle"}
    assert (await shop.bench.get("/v1/revisions/latest"))["recorded"]["number"] == 3


async def test_the_form_of_a_row_of_each_table_has_every_column_and_changes_nothing_if_it_is_sent_as_it_is(
    shop: Shop, person: Person
) -> None:
    for name, table in TABLES.items():
        row = max((await shop.bench.get(f"/v1/{name}?limit=1000"))["rows"], key=len)
        await person.open(f"/enter/{name}/{row['id']}")
        assert person.status == 200, person.text
        fields = {each.name.partition(".")[0] for each in person.form.controls}
        assert table.columns().keys() - {"id"} <= fields, name
        await person.save()
        assert person.status == 200, (name, row["id"], person.text)
        assert await shop.row(name, row["id"]) == row
        await person.open(f"/enter/{name}")
        assert person.status == 200
    assert (await shop.bench.get("/v1/revisions/latest"))["recorded"]["number"] == 1


async def test_what_a_row_names_is_entered_with_it_in_one_revision(shop: Shop, person: Person) -> None:
    await person.open(f"/enter/torques?chassis={CHASSIS}&fastener=bleed+port")
    for label, value in (("Position", "own: bleed port"), ("Kind of fastener", "set screw"), ("Torque", "1.5 N·m")):
        person.fill(label, value)
    person.fill("Title as printed", "Port sheet", fold="A source that is not in the list")
    await person.save()
    assert person.status == 200, person.text
    fastener = await shop.row("fasteners", f"{CHASSIS}-own-bleed-port")
    assert (fastener["chassis"], fastener["position"], fastener["source"]) == (CHASSIS, "own: bleed port", "port-sheet")
    torque = await shop.row("torques", f"torque-{CHASSIS}-own-bleed-port")
    assert (torque["fastener"], torque["source"]) == (f"{CHASSIS}-own-bleed-port", "port-sheet")
    assert (await shop.bench.get("/v1/revisions/latest"))["recorded"]["added"] == 3


@pytest.fixture
async def newcomer(fresh_database: Fresh, tmp_path: Path) -> AsyncIterator[Shop]:
    """A shop whose catalogue has orders of work and their tools, and no fork."""
    for name, keep in (
        ("procedures", lambda row: not row["chassis"]),
        ("steps", lambda row: not row["procedure"].endswith("-smirr")),
        ("tools", lambda row: True),
        ("sources", lambda row: row["id"] == "marrowfell-workshop-book"),
    ):  # fmt: skip
        with (SEED_DATA / f"{name}.csv").open(encoding="utf-8", newline="") as lines:
            reader = csv.DictReader(lines)
            rows = [row for row in reader if keep(row)]
        for row in rows:
            row |= {"maker": ""} if name == "sources" else {}
        with (tmp_path / f"{name}.csv").open("w", encoding="utf-8", newline="") as out:
            writer = csv.DictWriter(out, reader.fieldnames or ())
            writer.writeheader()
            writer.writerows(rows)
    with fresh_database("sqlite", False) as url:
        database = Database(url)
        report = load(database, tmp_path, Entry("orders of work", "tests"))
        assert report["accepted"], report["findings"][:5]
        (tmp_path / "shop").mkdir()
        async with writing(database, tmp_path / "shop") as service:
            yield Shop(service)
        database.close()


async def test_an_own_fork_has_a_complete_card_after_at_most_sixty_actions(newcomer: Shop) -> None:
    async with browser(newcomer.bench) as client:
        person = Person(client)
        await person.open("/")
        await person.tap("Add your first fork")
        await person.sign_in(newcomer.key)
        await entered(
            person, False,
            ("Name as the maker", "Ourworks"), ("Name", "Wick"), ("First model year", "2024"), ("29 in", "yes"),
            ("Shortest travel", "140"), ("Longest travel", "150"), ("Single or dual", "single"),
            ("Marks", "a candle on the crown"), ("Page", "3"), ("Title as printed", "Wick manual"),
        )  # fmt: skip
        assert person.at.startswith("/v1/chassis/ourworks-wick-2024/sheet?cite=wick-manual")
        taps, sheet = person.actions, person.at
        await person.open("/v1/chassis/ourworks-wick-2024/job-card?job=lower-leg-service")
        assert "Enter a spring that fits" in person.text, "a refused card says what to enter"
        await person.open(sheet)
        assert person.actions == taps
        await person.tap("Enter it", "/enter/fits")
        await entered(
            person, False,
            ("Travel it gives", "150"), ("Maximum pressure", "160 psi"), ("Maximum number of volume spacers", "3"),
            ("Axle-to-crown at this travel", "548"), ("Name as the maker", "Wick spring 150"), ("Air or coil", "air"),
            ("How the negative chamber", "port"),
        )  # fmt: skip
        await person.tap("lower-leg service")
        await person.tap("Enter it")
        for values in CARD[:-1]:
            await entered(person, True, *values)
        await entered(person, False, *CARD[-1])
        assert person.at.startswith("/v1/chassis/ourworks-wick-2024/job-card?"), person.text
        card = (await client.get(person.at.partition("#")[0])).json()
    assert person.actions <= 60
    assert {gap["what"] for gap in card["gaps"]} <= {"geometry", "spacers"}, "what only a set-up would need"
    assert [step["text"] for step in card["steps"] if "____" in step["text"]] == []
    assert {each["torque"]["text"] for each in card["torques"]} == {"8.2 N·m", "11 N·m", "7 N·m"}
    assert card["chassis"]["name"] == "Wick"


CARD: list[list[tuple[str, str]]] = [
    [("Name as the maker", "Wick damper"), ("How it is fastened", "bolt into shaft"), ("Where the adjuster", "top")],
    [("Name as the maker", "Wick bath"), ("Volume", "2 mL")],
    [("Name as the maker", "Foam ring 36"), ("Number of them", "2")],
    [("Name as the maker", "Wick grease")],
    [("Oil", "Wick bath"), ("Volume", "10 mL")],
    [("Oil", "Wick bath"), ("Volume", "12 mL")],
    [("Name as the maker", "Crush washer 8"), ("Number of them", "2")],
    [("Drives that turn it", "hex 5 mm"), ("Torque", "8.2 N·m")],
    [("Kind of fastener", "bolt"), ("Drives that turn it", "hex 6 mm"), ("Torque", "11 N·m")],
    [("Drives that turn it", "hex 5 mm"), ("Torque", "7 N·m")],
]
"""What the card of a lower-leg service lacks, in its order: damper, foam rings, grease, oils, washers, torques."""


async def test_a_figure_that_a_rule_warns_of_is_stored_and_looked_at_once_more(shop: Shop, person: Person) -> None:
    await shop.withdraw("torques/torque-trivet-35-axle")
    await person.open(f"{SHEET}{CITE}")
    await person.tap("Enter it", "fastener=quembry-trivet-35-axle")
    person.fill("Torque", "9.59 N·m")
    await person.save()
    assert person.at.startswith("/enter/torques/torque-quembry-trivet-35-axle?stored=true"), person.text
    assert "Stored. Look at the marked fields once more." in person.text
    assert 'aria-describedby="w-' in person.html
    await person.tap("It is right: go back")
    assert person.at == f"{SHEET}{CITE}#at-torque-quembry-trivet-35-axle"
    assert "9.59" in person.text


async def test_a_gap_that_the_manual_does_not_fill_is_skipped(shop: Shop, person: Person) -> None:
    await shop.withdraw("torques/torque-trivet-35-axle", "torques/torque-trivet-35-top-cap")
    await person.open(f"{SHEET}{CITE}")
    await person.tap("Enter it", "fastener=quembry-trivet-35-axle")
    assert "axle" in person.text
    await person.tap("Skip this gap")
    assert "fastener=quembry-trivet-35-top-cap" in person.at
    person.fill("Torque", "205 in·lbf")
    await person.save(then=True)
    assert person.at == f"{SHEET}{CITE}#at-torque-quembry-trivet-35-top-cap", "it was the last gap"


async def test_gaps_of_a_set_up_a_fork_check_and_a_card_have_forms_too(shop: Shop, person: Person) -> None:
    fit = await shop.row("fits", "fit-whimbrel-31-100-622")
    frame = await shop.row("frames", "gorsewade-hurdle-l")
    changes = [
        {"table": table, "op": "put", "row": {name: row[name] for name in row if name not in without}, "empty": without}
        for table, row, without in (("fits", fit, ["spacer_limit"]), ("frames", frame, ["head_angle_deg"]))
    ]
    assert (await shop.bench("POST", "/v1/imports", {"changes": changes, "reason": "gaps"})).status_code == 201
    fork = f"/v1/chassis/{fit['chassis']}"
    asked = "travel=100&model_year=2023&wheel_size=622&rider_mass=80"
    for page in (f"{fork}/setup?{asked}", f"{fork}/job-card?job=lower-leg-service&{asked}"):
        await person.open(page)
        assert person.status == 200, person.text
        await person.tap("Enter it", f"/enter/fits/{fit['id']}?ask=spacer")
        assert "Maximum number of volume spacers" in person.text
    check = f"/v1/frames/{frame['id']}/fork-check?chassis={CHASSIS}&travel=150&wheel_size=622"
    await person.open(check)
    await person.tap("Enter it", f"/enter/frames/{frame['id']}?ask=head_angle_deg")
    person.fill("Head angle", str(frame["head_angle_deg"]))
    await person.save()
    assert person.at.startswith(check)
    assert await shop.row("frames", str(frame["id"])) == frame


def test_every_kind_of_gap_has_a_form_or_a_reason_for_having_none() -> None:
    """The codes are read from the source, so that a new one is not forgotten."""
    found: set[str] = set()
    for path in (APP / "questions").rglob("*.py"):
        if path.parent.name in ("sheet", "setup", "job"):
            text = path.read_text(encoding="utf-8")
            found |= set(re.findall(r"""\b_?(?:gap|miss)\(\s*"([a-z-]+)\"""", text))
    properties = {"negative", "travel-set-by", "spring-kind", "crowns", "foot-joint", "adjuster-at", "damper-kind"}
    assert (found | properties | {"fit", "spacer-limit", "pressure-limit"}) - CLOSING.keys() == NOT_IN_A_ROW
    assert CLOSING.keys() <= found | properties | {"fit", "spacer-limit", "pressure-limit"}


NOT_IN_A_ROW = {
    "by-spacers", "curve", "load", "published", "read-again", "rider-mass", "rider-mass-without-gear", "second-sag",
    "serial",
    "spacers", "two-sags",  # what the person at the bench measures, weighs or chooses
    "filling-order", "frame", "spring", "travel-spacers",  # settled by another choice, not by a figure
}  # fmt: skip


async def entered(person: Person, then: bool, *values: tuple[str, str]) -> None:
    """Fill in these fields and save."""
    for label, value in values:
        person.fill(label, value)
    await person.save(then=then)
    assert person.status == 200, person.text


async def test_of_a_long_table_the_name_is_typed(shop: Shop, person: Person, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(entry_choices, "MOST_OFFERED", 3)
    await person.open("/enter/fills/fill-trivet-35-damper-leg")
    assert "now Smerrow Heavy Bath" in person.text
    person.fill("Oil", "Smerrow")
    await person.save()
    assert person.status == 422
    assert "Write one of these names, or the id in brackets: " in person.text
    person.fill("Oil", "Pelican grease of nobody")
    await person.save()
    assert "Nothing in the catalogue has a name like this" in person.text or "Write one of these" in person.text
    assert 'value="Pelican grease of nobody"' in person.html
    person.fill("Oil", "smerrow heavy bath")
    await person.save()
    assert person.at == "/v1/fills/fill-trivet-35-damper-leg#at-fill-trivet-35-damper-leg"
    assert (await shop.bench.get("/v1/revisions/latest"))["recorded"]["number"] == 1
