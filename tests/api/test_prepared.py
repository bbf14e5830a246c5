"""Templates are prepared after the start, so that no page request has to compile one."""

import asyncio
import io
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest
from jinja2 import Environment, FileSystemLoader

from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.main import create_app
from app.settings import Settings
from app.web.representation import page, prepared
from app.web.representation.compiled import bytecode_cache
from tests.api.asking import asking
from tests.conftest import Fresh

pytestmark = pytest.mark.anyio


def templates() -> set[str | None]:
    """The names of all templates."""
    return {path.name for path in page.TEMPLATES.glob("*.html")}


TRIVET = "/v1/chassis/quembry-trivet-35"


@pytest.fixture
def on_sqlite(fresh_database: Fresh) -> Iterator[Database]:
    with fresh_database("sqlite", True) as url:
        database = Database(url)
        yield database
        database.close()


def kept_in(monkeypatch: pytest.MonkeyPatch, folder: Path) -> None:
    """Start again, with the compiled templates stored in that folder."""
    monkeypatch.setattr(page, "bytecode_cache", lambda templates: bytecode_cache(folder))
    page.environment.cache_clear()


@pytest.fixture
def compiled(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[list[str | None]]:
    """The names of templates compiled by an environment that has none in memory or on disk."""
    names: list[str | None] = []
    kept_in(monkeypatch, tmp_path)
    compile_one = Environment.compile

    def noted(self: Environment, source: str, name: str | None = None, filename: str | None = None) -> object:
        names.append(name)
        return compile_one(self, source, name, filename)

    monkeypatch.setattr(Environment, "compile", noted)
    page.environment.cache_clear()
    yield names
    page.environment.cache_clear()


async def test_a_service_that_began_compiles_no_template_for_a_page(
    on_sqlite: Database, compiled: list[str | None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(prepared, "AFTER_SECONDS", 0.0)
    app = create_app(Settings(), Catalogue(on_sqlite), log_to=io.StringIO())
    there = templates()
    async with app.router.lifespan_context(app):
        for _ in range(600):
            if set(compiled) == there:
                break
            await asyncio.sleep(0.05)
    assert set(compiled) == there
    compiled.clear()
    async with asking(on_sqlite) as client:
        for address in ("/", "/v1/units", TRIVET, f"{TRIVET}/sheet", f"{TRIVET}/setup?rider_mass=80", f"{TRIVET}/nil"):
            html = await client.get(address, headers={"Accept": "text/html"})
            assert html.headers["content-type"] == "text/html; charset=utf-8"
    assert compiled == []


def test_what_was_compiled_once_is_not_compiled_again(
    compiled: list[str | None], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    prepared.prepare()
    assert set(compiled) == templates()
    compiled.clear()
    kept_in(monkeypatch, tmp_path)
    prepared.prepare()
    assert compiled == []
    one, *others = sorted((tmp_path / "__pycache__").iterdir())
    assert len(others) + 1 == len(templates())
    whole = one.read_bytes()
    for damaged in (whole[:-1], whole[:40], b""):
        one.write_bytes(damaged)
        compiled.clear()
        kept_in(monkeypatch, tmp_path)
        prepared.prepare()
        assert len(compiled) == 1
        assert one.read_bytes() == whole
    changed = tmp_path / "words.py"
    changed.write_text("a filter was changed")
    monkeypatch.setattr("app.web.representation.words.__file__", str(changed))
    kept_in(monkeypatch, tmp_path)
    prepared.prepare()
    assert set(compiled) == templates()


def test_where_nothing_can_be_written_each_start_compiles(
    compiled: list[str | None], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "file").write_bytes(b"")
    for _ in range(2):
        kept_in(monkeypatch, tmp_path / "file")  # no folder can be made under a file, not even by root
        compiled.clear()
        prepared.prepare()
        assert set(compiled) == templates()


def test_on_a_disk_that_cannot_be_written_to_the_prepared_templates_are_used(
    compiled: list[str | None], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    for path in page.TEMPLATES.glob("*.html"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    monkeypatch.setattr("os.access", lambda *asked: False)
    assert bytecode_cache(tmp_path) is None
    monkeypatch.undo()
    made = Environment(loader=FileSystemLoader(tmp_path), bytecode_cache=bytecode_cache(tmp_path))
    made.filters |= page.environment().filters
    for name in made.list_templates(extensions=("html",)):
        made.get_template(name)
    monkeypatch.setattr("os.access", lambda *asked: False)
    assert bytecode_cache(tmp_path) is not None


async def test_the_start_does_not_wait_for_templates(on_sqlite: Database, compiled: list[str | None]) -> None:
    app = create_app(Settings(), Catalogue(on_sqlite), log_to=io.StringIO())
    async with app.router.lifespan_context(app):
        assert compiled == []
    await asyncio.sleep(prepared.AFTER_SECONDS + 0.2)
    assert compiled == []  # stopped before it got that far


async def test_the_table_of_units_is_on_its_page_whole(on_sqlite: Database) -> None:
    async with asking(on_sqlite) as client:
        kinds = (await client.get("/v1/units")).json()["kinds"]
        html = unescape((await client.get("/v1/units", headers={"Accept": "text/html"})).text)
    for kind in kinds:
        assert kind["meaning"][1:] in html
        for unit in kind["units"]:
            row = html.partition(f'<tr><th scope="row">{unit["unit"]}</th>')[2].partition("</tr>")[0]
            for said in (unit["factor"], unit["display_step"], unit["ucum"], unit.get("offset", "")):
                assert said in row
