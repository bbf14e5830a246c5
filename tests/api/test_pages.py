"""Every demo answer as a page and as text: the same figures as JSON, well-formed, small and safe."""

import csv
import io
import re
import shutil
import time
from collections.abc import AsyncIterator
from pathlib import Path

import httpx
import pytest

from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.database.migrating import migrate
from app.exchange.loading import Entry, load
from app.web.representation.prepared import prepare
from tests.api.asking import asking
from tests.api.reading_html import Page
from tests.api.walking import addresses, quantities
from tests.conftest import SEED_DATA, Fresh

pytestmark = pytest.mark.anyio

HTML, TEXT = {"Accept": "text/html"}, {"Accept": "text/plain"}
LARGEST = 60_000  # bytes of a page without its plot
SLOWEST_S = 0.25  # seconds of processor time for the first request of any demo page; 0.043 was the worst measured
TRIVET = "/v1/chassis/quembry-trivet-35"
SCRIPT = "<script>alert(1)</script>"


@pytest.fixture
async def demo_client(fresh_database: Fresh) -> AsyncIterator[httpx.AsyncClient]:
    with fresh_database("sqlite", True) as url:
        database = Database(url)
        async with asking(database) as client:
            yield client
        database.close()


def without_drawings(html: str) -> str:
    return re.sub(r"<svg.*?</svg>", "", html, flags=re.DOTALL)


async def test_every_page_and_text_of_the_demo_says_what_json_says(demo_client: httpx.AsyncClient) -> None:
    walked = await addresses(demo_client)
    assert sum("job-card" in address for address in walked) >= 8
    figures, slowest = 0, 0.0
    prepare()
    for address in walked:
        answer = await demo_client.get(address)
        assert answer.status_code == 200, f"{address}: {answer.text[:300]}"
        begun = time.process_time()
        html = await demo_client.get(address, headers=HTML)
        slowest = max(slowest, time.process_time() - begun)
        assert (html.status_code, html.headers["content-type"]) == (200, "text/html; charset=utf-8"), address
        page = Page(html.text)
        assert len(without_drawings(html.text).encode()) <= LARGEST, f"{address}: {len(html.content)} bytes"
        assert not {name for name in page.attributes if name == "style" or name.startswith("on")}, address
        assert not page.tags & {"script", "style", "iframe", "object", "base"}, address
        assert all(link.startswith(("/", "#")) and not link.startswith("//") for link in page.links), address
        text = await demo_client.get(address, headers=TEXT)
        assert text.headers["content-type"] == "text/plain; charset=utf-8"
        assert max(map(len, text.text.split("\n"))) <= 80, address
        assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]", text.text), address
        told = " ".join(text.text.split())
        for figure in set(quantities(answer.json())):
            figures += 1
            assert figure in page.text, f"{address}: {figure} is not on the page"
            assert figure in told, f"{address}: {figure} is not in the text"
    assert figures > 2_000
    assert slowest < SLOWEST_S


@pytest.mark.parametrize("accept", [HTML, TEXT])
async def test_what_is_missing_is_on_the_page_in_the_words_of_the_answer(
    demo_client: httpx.AsyncClient, accept: dict[str, str]
) -> None:
    address = f"{TRIVET}/setup?travel=150&model_year=2023&rider_mass=80"
    answer = (await demo_client.get(address)).json()
    shown = await demo_client.get(address, headers=accept)
    told = Page(shown.text).text if accept is HTML else " ".join(shown.text.split())
    assert answer["gaps"]
    assert answer["cautions"]
    for each in [*answer["gaps"], *answer["cautions"]]:
        assert each["text"] in told


async def test_what_is_undecided_is_asked_in_place_with_its_values(demo_client: httpx.AsyncClient) -> None:
    address = f"{TRIVET}/sheet?travel=150&units=metric"
    undecided = (await demo_client.get(address)).json()["undecided"]
    html = (await demo_client.get(address, headers=HTML)).text
    assert undecided
    for each in undecided:
        for value in each["values"]:
            assert f'name="{each["parameter"]}" value="{value}"' in html
    assert '<input type="hidden" name="units" value="metric">' in html


async def test_what_may_be_chosen_is_called_as_the_catalogue_files_call_it(demo_client: httpx.AsyncClient) -> None:
    """Variants, dampers and springs by the names in their source files; wheels by the name used in the query."""
    called = {
        parameter: {
            row["id"]: row["name"]
            for row in csv.DictReader((SEED_DATA / f"{parameter}s.csv").open("r", encoding="utf-8"))
        }
        for parameter in ("variant", "damper", "spring")
    }
    called["wheel_size"] = {"622": "29 in", "584": "27.5 in", "559": "26 in"}
    seen = set()
    for row in (await demo_client.get("/v1/chassis")).json()["rows"]:
        address = f"/v1/chassis/{row['id']}/setup?rider_mass=80"
        undecided = (await demo_client.get(address)).json()["undecided"]
        page = Page((await demo_client.get(address, headers=HTML)).text)
        text = " ".join((await demo_client.get(address, headers=TEXT)).text.split())
        for each in undecided:
            names = called.get(each["parameter"])
            assert ("names" in each) == (names is not None), each
            for value, name in zip(each["values"], each.get("names", ()), strict=names is not None):
                seen.add(each["parameter"])
                twice = each["names"].count(name) > 1
                assert name in (names[str(value)], f"{names[str(value)]} ({value})")
                assert not twice
                assert name in page.text
                assert f"{value} ({name})" in text
    assert seen == set(called)


async def test_a_refused_card_calls_what_may_be_chosen_by_name(demo_client: httpx.AsyncClient) -> None:
    address = f"{TRIVET}/job-card?job=full-service&travel=150&model_year=2022"
    open_variant = next(
        each for each in (await demo_client.get(address)).json()["undecided"] if each["parameter"] == "variant"
    )
    page = Page((await demo_client.get(address, headers=HTML)).text)
    text = " ".join((await demo_client.get(address, headers=TEXT)).text.split())
    for value, name in zip(open_variant["values"], open_variant["names"], strict=True):
        assert name != value
        assert name in page.text
        assert f"{value} ({name})" in text


async def test_units_are_switched_in_place_and_stay_in_every_link(demo_client: httpx.AsyncClient) -> None:
    page = Page((await demo_client.get(f"{TRIVET}/fits?travel=150&torque_unit=kgf.cm", headers=HTML)).text)
    assert f"{TRIVET}/fits?travel=150&units=metric" in page.links
    metric = Page((await demo_client.get(f"{TRIVET}/fits?travel=150&units=metric", headers=HTML)).text)
    sheet = next(link for link in metric.links if link.startswith(f"{TRIVET}/sheet"))
    assert "units=metric" in sheet
    assert "travel=150" in sheet


async def test_a_refusal_is_a_page_that_keeps_what_was_typed_and_offers_the_fix(
    demo_client: httpx.AsyncClient,
) -> None:
    address = f"{TRIVET}/fits?model_year=2030&travel=150&wheel_size=29"
    html = await demo_client.get(address, headers=HTML)
    assert (html.status_code, html.headers["content-type"]) == (422, "text/html; charset=utf-8")
    problem = (await demo_client.get(address)).json()
    page = Page(html.text)
    assert problem["detail"] in page.text
    assert 'value="2030"' in html.text
    assert 'value="29"' in html.text
    assert 'aria-invalid="true"' in html.text
    assert any("model_year=2024" in link and "travel=150" in link for link in page.links)
    text = await demo_client.get(address, headers=TEXT)
    assert text.headers["content-type"].startswith("text/plain")
    assert problem["detail"] in " ".join(text.text.split())


async def test_near_names_are_links_where_an_id_is_not_there(demo_client: httpx.AsyncClient) -> None:
    html = await demo_client.get("/v1/chassis/quembry-trivt-35/fits?travel=150", headers=HTML)
    assert html.status_code == 404
    assert f"{TRIVET}/fits?travel=150" in Page(html.text).links


async def test_a_job_card_that_is_not_decided_asks_in_place(demo_client: httpx.AsyncClient) -> None:
    html = await demo_client.get(f"{TRIVET}/job-card?job=full-service&travel=150&model_year=2022", headers=HTML)
    assert html.status_code == 200
    assert '<button name="variant" value="quembry-trivet-35-run-two">' in html.text


async def test_the_code_on_a_sheet_leads_back_to_it_at_its_revision(demo_client: httpx.AsyncClient) -> None:
    html = (await demo_client.get(f"{TRIVET}/sheet?travel=150&units=metric", headers=HTML)).text
    assert f"<title>http://legwork.test{TRIVET}/sheet?travel=150&amp;units=metric&amp;revision=1</title>" in html


@pytest.mark.parametrize(
    "query", ["q=%3Cscript%3Ealert(1)%3C/script%3E", "q=%22%3E%3Cimg%20src=x%20onerror=alert(1)%3E", "zz=%3Cscript%3E"]
)
async def test_what_was_typed_is_never_markup(demo_client: httpx.AsyncClient, query: str) -> None:
    html = await demo_client.get(f"/?{query}", headers=HTML)
    page = Page(html.text)
    assert not page.tags & {"script", "img"}
    assert "unsafe-inline" not in html.headers["content-security-policy"]


async def test_what_is_stored_is_never_markup(tmp_path: Path) -> None:
    """Wire case 29: stored script, attribute breakout and javascript: address, in page, text, drawing and code."""
    package = tmp_path / "package"
    shutil.copytree(SEED_DATA, package)
    _rewrite(package / "chassis.csv", {"lommeris-smirr-35": {"name": SCRIPT}})
    title = '"><img src=x onerror=alert(1)>'
    _rewrite(package / "sources.csv", {"lommeris-service-guide-3": {"title": title}})
    _rewrite(package / "springs.csv", {"lommeris-smirr-35-spring-150": {"name": "javascript:alert(1)"}})
    database = Database(f"sqlite:///{tmp_path / 'legwork.db'}")
    migrate(database, "catalogue")
    report = load(database, package, Entry("hostile", "tests"))
    assert report["accepted"], report["findings"][:3]
    smirr = "/v1/chassis/lommeris-smirr-35"
    seen = 0
    async with asking(database) as client:
        for address in (
            smirr, "/", "/?q=smirr", "/v1/chassis", "/v1/sources", "/v1/springs", f"{smirr}/fits?travel=150",
            f"{smirr}/sheet?travel=150", f"{smirr}/setup?travel=150&rider_mass=80",
        ):  # fmt: skip
            html = await client.get(address, headers=HTML)
            assert html.status_code == 200
            page = Page(html.text)
            seen += (SCRIPT in page.text) + (title in page.text)
            assert not page.tags & {"script", "img"}, address
            assert not any(name.startswith("on") for name in page.attributes), address
            assert not any(link.startswith("javascript") for link in page.links), address
            assert html.headers["x-content-type-options"] == "nosniff"
            assert "unsafe-inline" not in html.headers["content-security-policy"]
        drawing = await client.get(f"{smirr}/setup.svg?travel=150&rider_mass=80")
        assert SCRIPT not in drawing.text
        assert "&lt;script&gt;" in drawing.text
    database.close()
    assert seen >= 8


def _rewrite(path: Path, changes: dict[str, dict[str, str]]) -> None:
    rows = list(csv.DictReader(io.StringIO(path.read_text("utf-8"), newline="")))
    done = [row.update(changes[row["id"]]) for row in rows if row["id"] in changes]
    assert len(done) == len(changes)
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    path.write_text(out.getvalue(), "utf-8")


async def test_an_empty_catalogue_has_pages_too(catalogue: Catalogue) -> None:
    async with asking(catalogue.database) as client:
        for address in ("/", "/v1/chassis", "/v1/findings", "/v1/revisions", "/v1/changes"):
            assert (await client.get(address, headers=HTML)).status_code == 200
            assert (await client.get(address, headers=TEXT)).status_code == 200


async def test_what_a_person_reads_has_no_name_that_only_a_program_knows(demo_client: httpx.AsyncClient) -> None:
    """Member names and backticks are for programs; a page says it in words or sets it as code."""
    for address in (
        "/v1/chassis/pellugar-whimbrel-31/setup?travel=100&rider_mass=80&temperature=5&altitude=2000",
        "/v1/chassis/quembry-crock-39/setup?rider_mass=80&travel=170&wheel_size=622",
    ):
        html = (await demo_client.get(address, headers=HTML)).text
        shown = Page(re.sub(r"<(code|script|svg)\b.*?</\1>", "", html, flags=re.S)).text
        assert "Start pressure" in shown or "Coil" in shown
        assert "`" not in shown
        assert re.findall(r"\b(?:from_rest|reading_there|fill_to|sag_percent)\b", shown) == []


async def test_the_guide_and_the_changes_are_pages(demo_client: httpx.AsyncClient) -> None:
    for name, words in (("guide", "Ten questions"), ("changes", "begins with")):
        response = await demo_client.get(f"/docs/{name}")
        assert response.status_code == 200
        assert response.headers["content-type"] == "text/html; charset=utf-8"
        assert words in response.text
    assert (await demo_client.get("/docs/guides")).status_code == 404
