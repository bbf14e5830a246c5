"""The answer cache returns the same bytes as no cache, never an older revision, and never a private answer."""

import asyncio
import io
import json
import random
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from app.catalogue.catalogue import POLL_S, Catalogue
from app.catalogue.lineage import Head
from app.database.connections import Database
from app.exchange.loading import Entry, load
from app.main import Service, create_app
from app.settings import Settings
from tests.api.writing import put, writing
from tests.catalogue_generator import write_package

FITS = "/v1/chassis/quembry-trivet-35/fits"
ASKED = f"{FITS}?travel=150&model_year=2023"

pytestmark = pytest.mark.anyio


class Counting(Catalogue):
    """Counts the questions that reach the catalogue."""

    asked = 0

    async def ask(self, *given: Any, **more: Any) -> Any:
        self.asked += 1
        return await super().ask(*given, **more)


@pytest.fixture
async def kept(loaded: Catalogue) -> AsyncIterator[tuple[httpx.AsyncClient, Counting, io.StringIO]]:
    """A client of a service with an answer cache, the counting catalogue, and the log."""
    log, catalogue = io.StringIO(), Counting(loaded.database)
    async with client_of(create_app(Settings(allowed_hosts=["legwork.test"]), catalogue, log_to=log)) as client:
        yield client, catalogue, log


def client_of(app: Service) -> httpx.AsyncClient:
    return httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://legwork.test")


Kept = tuple[httpx.AsyncClient, Counting, io.StringIO]


@pytest.mark.parametrize(
    ("spelling", "accept"),
    [
        (f"{FITS}?model_year=2023&travel=150", "*/*"),
        (f"{FITS}?model_year=20%323&tr%61vel=150", "*/*"),
        (f"{FITS}.json?travel=150&model_year=2023", "*/*"),
        (f"{ASKED}&format=json", "*/*"),
        (ASKED, "application/json"),
    ],
)
async def test_two_spellings_of_one_question_have_the_same_answer(kept: Kept, spelling: str, accept: str) -> None:
    client, _, _ = kept
    first = await client.get(ASKED)
    second = await client.get(spelling, headers={"Accept": accept})
    assert (second.status_code, second.content, second.headers["etag"]) == (200, first.content, first.headers["etag"])


async def test_one_answer_serves_every_client_that_asks_the_same(kept: Kept) -> None:
    """Headers that do not affect the answer are not in the key: another browser, a request id, a foreign cookie."""
    client, catalogue, log = kept
    first = await client.get(ASKED)
    for more in (
        {"User-Agent": "another"}, {"X-Request-Id": "chosen-by-the-client"}, {"X-Forwarded-For": "10.0.0.1"},
        {"Accept-Language": "de"}, {"Cookie": "theme=dark"}, {"Accept-Encoding": "br;q=1.0, gzip;q=0.5"},
        {"Cache-Control": "max-age=0"}, {"Range": "bytes=0-3"},
    ):  # fmt: skip
        again = await client.get(ASKED, headers=more)
        assert (again.status_code, again.content) == (200, first.content), more
    assert catalogue.asked == 1
    assert again.headers["x-request-id"] != first.headers["x-request-id"]
    lines = [json.loads(line) for line in log.getvalue().splitlines()]
    assert [line["agent"] for line in lines[:2]] == [lines[0]["agent"], "another"]
    assert lines[2]["request_id"] == "chosen-by-the-client"


async def test_no_answer_takes_the_spelling_of_the_first_client(kept: Kept) -> None:
    client, _, _ = kept
    spelt = [await client.get(f"/v1/makers?limit=1{more}") for more in ("&format=json", "", "&revision=1", "")]
    for answer, more in zip(spelt, ("format=json", "", "revision=1", ""), strict=True):
        assert more in answer.json()["next"]
        assert ("format" in answer.json()["next"]) is (more == "format=json")
        assert more in answer.headers["link"]
    for first, second in (("", "?units=metric"), ("?units=metric", "")):
        answers = [(await client.get(f"/problems/stale{end}")).status_code for end in (first, second, first, second)]
        assert answers[:2] == answers[2:]
        assert sorted(answers) == [200, 200, 422, 422]


async def test_another_question_or_form_is_another_answer(kept: Kept) -> None:
    client, catalogue, _ = kept
    first = await client.get(ASKED)
    for other, headers in [
        (f"{ASKED}&units=imperial", {}), (f"{FITS}.csv?travel=150&model_year=2023", {}),
        (ASKED, {"Accept": "text/html"}), (f"{FITS}?travel=160&model_year=2023", {}),
    ]:  # fmt: skip
        assert (await client.get(other, headers=headers)).content != first.content, other
    assert catalogue.asked == 7  # the page also looked up its form's choices and its names


async def test_each_answer_from_the_front_has_an_id_and_a_line_of_its_own(kept: Kept) -> None:
    client, catalogue, log = kept
    answers = [await client.get(ASKED) for _ in range(4)]
    ids = [answer.headers["x-request-id"] for answer in answers]
    lines = [json.loads(line) for line in log.getvalue().splitlines()]
    assert len(set(ids)) == 4
    assert [line["request_id"] for line in lines] == ids
    same = ("method", "path", "parameters", "status", "bytes", "client", "agent")
    assert len({tuple(line[name] for name in same) for line in lines}) == 1
    first, *later = [{k: v for k, v in answer.headers.items() if k != "x-request-id"} for answer in answers]
    assert later == [first] * 3
    assert catalogue.asked == 1


async def test_an_unchanged_answer_is_told_so_and_head_has_its_headers(kept: Kept) -> None:
    client, catalogue, _ = kept
    whole = await client.get(ASKED)
    for _ in range(2):
        unchanged = await client.get(ASKED, headers={"If-None-Match": whole.headers["etag"]})
        assert (unchanged.status_code, unchanged.content) == (304, b"")
        assert unchanged.headers["etag"] == whole.headers["etag"]
        assert "content-type" not in unchanged.headers
        other = await client.get(ASKED, headers={"If-None-Match": '"other"'})
        assert (other.status_code, other.content) == (200, whole.content)
    head = await client.head(ASKED)
    assert {**head.headers, "x-request-id": ""} == {**whole.headers, "x-request-id": ""}
    assert catalogue.asked == 1


async def test_a_refusal_is_not_kept_and_checks_are_made_again(kept: Kept) -> None:
    client, catalogue, _ = kept
    for _ in range(2):
        assert (await client.get(ASKED)).status_code == 200
        assert (await client.get(ASKED, headers={"Host": "evil.test"})).status_code == 400
        assert (await client.get(ASKED.replace("/fits", "%2ffits"))).status_code == 404
        assert (await client.get(ASKED, headers={f"x-{number}": "1" for number in range(120)})).status_code == 431
        assert (await client.get(f"{FITS}?travel=150&travel=160")).status_code == 422
        assert (await client.get("/v1/chassis/quembry-trivet-53/fits")).status_code == 404
    assert catalogue.asked == 3  # once for the answer, twice for the chassis that does not exist


async def test_what_is_kept_is_bounded(loaded: Catalogue) -> None:
    app = create_app(Settings(allowed_hosts=["legwork.test"], cache_bytes=100_000), loaded, log_to=io.StringIO())
    async with client_of(app) as client:
        for year in range(2015, 2035):
            for travel in range(100, 180, 10):
                await client.get(f"{FITS}?travel={travel}&model_year={year}")
    assert 50_000 < app.answers.bytes <= 100_000


async def test_the_same_bytes_with_and_without(loaded: Catalogue) -> None:
    """Demo lookups in three formats, many of them repeated; each is compared with a service that has no cache."""
    chance = random.Random(11)
    settings = Settings(allowed_hosts=["legwork.test"])
    bare = create_app(Settings(allowed_hosts=["legwork.test"], cache_bytes=0), loaded, log_to=io.StringIO())
    paths = [
        "/", "/?q=trivet", "/v1/units", "/v1/standards/threads", "/v1/makers", "/v1/revisions/latest", "/v1/rules",
        ASKED, "/v1/chassis/quembry-trivet-35/sheet?travel=150",
        "/v1/chassis/quembry-trivet-35/setup?rider_mass=80&travel=150",
        "/v1/search?q=150", "/v1/fits?limit=3", "/v1/fits?limit=3&revision=1", "/v1/findings",
        "/v1/chassis/quembry-trivet-35/job-card?job=travel-change&travel=150",
    ]  # fmt: skip
    accepted = ["*/*", "text/html", "text/plain", "text/csv", "application/xml"]
    async with client_of(create_app(settings, loaded, log_to=io.StringIO())) as client, client_of(bare) as plain:
        for _ in range(200):
            path, accept = chance.choice(paths), {"Accept": chance.choice(accepted)}
            one, other = await client.get(path, headers=accept), await plain.get(path, headers=accept)
            alike = [(each.status_code, _without_id(each)) for each in (one, other)]
            assert alike[0] == alike[1], path


def _without_id(answer: httpx.Response) -> tuple[dict[str, str], str]:
    id = answer.headers["x-request-id"]
    its_own = ("x-request-id", "content-length")  # a refusal names the id, so its compressed length differs
    return {name: value for name, value in answer.headers.items() if name not in its_own}, answer.text.replace(id, "")


async def test_no_answer_is_older_than_the_last_write(demo: Database, tmp_path: Path) -> None:
    """On both engines: a client that knows of a change sees it in the next answer, whichever format was cached
    before."""
    async with writing(demo, tmp_path) as service:
        reader = client_of(service.app)
        for note in ("read again", "and again", "for the third time"):
            before = [await reader.get("/v1/torques/torque-crock-39-axle", headers={"Accept": kind}) for kind in FORMS]
            row, tag = await service.row()
            body = put({**row, "note": note})
            written = await service.client.put(f"/v1/statements/{row['id']}", json=body, headers={"If-Match": tag})
            assert written.status_code == 200, written.text
            after = [await reader.get("/v1/torques/torque-crock-39-axle", headers={"Accept": kind}) for kind in FORMS]
            assert after[0].json()["revision"] == before[0].json()["revision"] + 1
            assert after[0].json()["row"]["note"] == note
            assert all(new.content != old.content for new, old in zip(after, before, strict=True))


FORMS = ("application/json", "text/html", "text/plain")


@pytest.mark.parametrize("loaded", ["sqlite"], indirect=True)
async def test_the_file_is_asked_once_for_all_in_the_queue_and_again_for_the_next(
    loaded: Catalogue, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = 0
    changes = loaded.database.changes

    def counted() -> int:
        nonlocal asked
        asked += 1
        return changes()

    monkeypatch.setattr(loaded.database, "changes", counted)
    loaded.look_again()
    head = loaded.answer(lambda snapshot: snapshot.head)

    async def one() -> Head | None:
        return loaded.known()

    for turn in (1, 2):
        assert await asyncio.gather(*(one() for _ in range(8))) == [head] * 8
        assert asked == turn
    loaded.look_again()
    assert (loaded.known(), loaded.known(), asked) == (head, head, 3)
    loaded.look_again()
    assert (loaded.known(), asked) == (head, 4), "a write here is seen by the next step"


async def test_what_another_process_wrote_is_seen(demo: Database, demo_url: str, tmp_path: Path) -> None:
    """A change is seen at once on SQLite and within POLL_S on PostgreSQL; `min_revision` does not wait."""
    app = create_app(Settings(allowed_hosts=["legwork.test"]), Catalogue(demo), log_to=io.StringIO())
    elsewhere = Database(demo_url)
    async with client_of(app) as client:
        first = (await client.get("/v1/revisions/latest")).json()["revision"]
        write_package(tmp_path / "package", 2)
        await asyncio.to_thread(load, elsewhere, tmp_path / "package", Entry("from elsewhere", "tests"))
        assert (await client.get(f"/v1/revisions/latest?min_revision={first + 1}")).json()["revision"] == first + 1
        if not demo.is_sqlite:
            await asyncio.sleep(POLL_S)
        assert (await client.get("/v1/revisions/latest")).json()["revision"] == first + 1
    elsewhere.close()


async def test_what_is_asked_of_a_fork_of_the_shop_is_not_kept(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        bench = {"Authorization": f"Bearer {service.keys['bench'].token}"}
        assert (await service.client.get("/v1/forks", headers=bench)).status_code == 200
        nobody = await client_of(service.app).get("/v1/forks")
        assert nobody.status_code == 401
        assert (await service.client.get("/v1/forks", headers=bench)).headers["cache-control"] == "private, no-store"
        assert service.app.answers.bytes == 0
