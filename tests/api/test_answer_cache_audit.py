"""No client gets another client's answer from the cache, however a request is spelt; compared with no cache.

This is cache poisoning: one client sends a header that the cache key and the answer read differently, and the next
client gets the cached result (RFC 9111, 4.1; the classes are CWE-524 and CWE-444)."""

import io
from pathlib import Path

import pytest

from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.main import Service, create_app
from app.settings import Settings
from tests.api.raw import ask
from tests.api.test_documented_refusals import IN_A_CHILD, Asking, demo_service, operations
from tests.api.writing import writing
from tests.bench.working import CHASSIS, benches
from tests.conftest import Fresh

pytestmark = pytest.mark.anyio
FITS = "/v1/chassis/quembry-trivet-35/fits?travel=150&model_year=2023"
HOSTS = ["legwork.test", "other.test"]


@pytest.fixture
def two(loaded: Catalogue) -> tuple[Service, Service]:
    """A service with an answer cache, and one without."""
    return (
        create_app(Settings(allowed_hosts=HOSTS), loaded, log_to=io.StringIO()),
        create_app(Settings(allowed_hosts=HOSTS, cache_bytes=0), loaded, log_to=io.StringIO()),
    )


@pytest.mark.parametrize("name", ["accept", "accept-encoding"])
async def test_a_line_sent_twice_is_answered_for_its_sender_alone(two: tuple[Service, Service], name: str) -> None:
    kept, _ = two
    first, last = ("text/html", "application/json") if name == "accept" else ("gzip", "identity")
    await ask(kept, FITS, [(name, first), (name, last)])
    answer = await ask(kept, FITS, [(name, last)])
    assert answer.headers["content-type"] == "application/json"
    assert "content-encoding" not in answer.headers


async def test_of_two_alike_ranges_the_first_holds_for_each_asker(two: tuple[Service, Service]) -> None:
    kept, _ = two
    ranges = ["text/html;q=0.1", "text/html", "application/json;q=0.5"]
    little = await ask(kept, FITS, [("accept", ", ".join(ranges))])
    much = await ask(kept, FITS, [("accept", ", ".join([ranges[1], ranges[0], ranges[2]]))])
    assert little.headers["content-type"] == "application/json"
    assert much.headers["content-type"].startswith("text/html")


async def test_a_refused_client_stays_refused_after_another_was_answered(fresh_database: Fresh, tmp_path: Path) -> None:
    """Every lookup that needs a key, sent with a valid key, then with none, one of another scope, and a revoked one."""
    async with demo_service(fresh_database, tmp_path) as (service, fork):
        tried = 0
        for path, method, operation in operations():
            if method != "get" or operation["security"] != [{"key": []}] or operation["operationId"] in IN_A_CHILD:
                continue
            asking = Asking(service, fork, path, method, operation)
            answer = await asking()
            assert answer.status_code == 200, path
            assert "no-store" in answer.headers["cache-control"], path
            address = answer.request.url.raw_path.decode()
            for key, status in ((None, 401), ("no", 401), (str(service.keys["read"].token), 403)):
                lines = [] if key is None else [("authorization", f"Bearer {key}")]
                assert (await ask(service.app, address, lines)).status == status, path
            tried += 1
        assert tried >= 8


async def test_what_is_answered_of_a_fork_is_for_its_shop_alone(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, other):
        id = await bench.register()
        for question in ("sheet?", "setup?rider_mass=80kg&", "job-card?job=full-service&"):
            address = f"/v1/chassis/{CHASSIS}/{question}fork={id}"
            for end in ("", "&format=html", "&format=txt"):
                own = await bench("GET", address + end)
                assert (own.status_code, own.headers["cache-control"]) == (200, "private, no-store"), own.text
                assert (await other("GET", address + end)).status_code == 404
                assert (await ask(bench.service.app, address + end)).status == 401
                assert (await ask(bench.service.app, address + end, method="HEAD")).status == 401
            pinned = await bench("GET", f"{address}&revision=1", Accept="application/json")
            assert pinned.headers["cache-control"] == "private, no-store"


async def test_closed_lookups_are_closed_to_the_next_asker(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path, open_reads=False) as service:
        reader = [("authorization", f"Bearer {service.keys['read'].token}")]
        for address in (FITS, "/", "/v1/makers", "/v1/makers.csv"):
            answers = [await ask(service.app, address, reader) for _ in range(2)]
            assert [answer.status for answer in answers] == [200, 200]
            assert answers[0].but_its_id() == answers[1].but_its_id()
            assert "private" in answers[0].headers["cache-control"]
            for lines in ([], [("authorization", "Bearer no")], [("if-none-match", answers[0].headers["etag"])]):
                assert (await ask(service.app, address, lines)).status == 401
            assert (await ask(service.app, address, method="HEAD")).status == 401
        assert service.app.answers.bytes > 0


async def test_a_refusal_is_never_what_the_next_asker_gets(two: tuple[Service, Service]) -> None:
    kept, _ = two
    for lines in ([("accept", "image/x-none")], [("host", "evil.test")], [("x-long", "x" * 20_000)]):
        assert (await ask(kept, FITS, lines)).status in (400, 406, 431)
        assert (await ask(kept, FITS)).status == 200
        assert (await ask(kept, FITS, lines)).status in (400, 406, 431)


async def test_a_public_answer_asked_with_a_key_is_marked_private_and_one_without_is_not(
    two: tuple[Service, Service],
) -> None:
    kept, _ = two
    for lines, private in (([("authorization", "Bearer x")], True), ([], False), ([("authorization", "")], True)):
        for _ in range(2):
            assert ("private" in (await ask(kept, FITS, lines)).headers["cache-control"]) is private
