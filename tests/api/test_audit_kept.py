"""Nobody gets another's answer out of what is kept, however a request is spelt; each against a service that keeps none.

Cache poisoning as it is done: one asker sends a line that the key of the store and the answer read differently, the
next is given what was kept (RFC 9111, 4.1; the classes are those of CWE-524 and CWE-444).
"""

import gzip
import io
import random
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.main import Service, create_app
from app.settings import Settings
from tests.api.raw import Headers, Raw, ask
from tests.api.test_documented_refusals import IN_A_CHILD, Asking, demo_service, operations
from tests.api.writing import writing
from tests.bench.working import CHASSIS, benches
from tests.conftest import Fresh

pytestmark = pytest.mark.anyio
FITS = "/v1/chassis/quembry-trivet-35/fits?travel=150&model_year=2023"
HOSTS = ["legwork.test", "other.test"]
PATHS = {
    "/v1/chassis/quembry-trivet-35/fits": "?travel=150", "/v1/chassis/quembry-trivet-35/sheet": "?travel=150",
    "/v1/makers": "?limit=2", "/v1/units": "", "/v1/fits": "?limit=2", "/v1/search": "?q=150", "/": "?q=trivet",
    "/v1/torques/torque-crock-39-axle": "?revision=1", "/v1/revisions": "", "/problems": "", "/problems/gone": "",
    "/v1/chassis/quembry-trivet-35/setup": "?rider_mass=80&travel=150", "/v1/standards/threads": "",
    "/v1/convert": "?value=6.8&from=N%C2%B7m&to=in-lb",
}  # fmt: skip
"""With parameters that have an answer."""
QUERIES = [
    "", "?", "?travel=150", "?travel=150&model_year=2023", "?model_year=2023&travel=150", "?travel=150&travel=160",
    "?tr%61vel=150", "?travel=15%30", "?limit=2", "?limit=2&&", "?limit=2&format=json", "?format=json", "?format=csv",
    "?format=html", "?format=txt", "?format=json&format=csv", "?FORMAT=csv", "?format=", "?q=150", "?q=150&limit=2",
    "?q=%C3%A9", "?q=e%CC%81", "?q=%ff", "?revision=1", "?as_of=2026-01-01", "?units=imperial", "?units=imperial&q=a+b",
    "?units=imperial&q=a%20b", "?rider_mass=80&travel=150", "?value=6.8&from=N%C2%B7m&to=in-lb", "?fork=a",
]  # fmt: skip
SPELLING = re.compile(r"\.json(?=[?>])|(?<=\?)format=json&|&format=json")
ENDS = ["", "", "", ".json", ".csv", ".html", ".txt", "%2Ejson", "%2Ecsv", ".csv.json", "/"]
LINES: list[Headers] = [
    [], [], [("accept", "application/json")], [("accept", "text/html")], [("accept", "text/csv")],
    [("accept", "text/html"), ("accept", "application/json")],
    [("accept", "application/json"), ("accept", "text/html")],
    [("accept", "text/html;q=0.1, text/html, application/json;q=0.5")],
    [("accept", "text/html, text/html;q=0.1, application/json;q=0.5")],
    [("accept", "text/plain"), ("accept", "*/*")], [("accept", "")], [("accept", "nonsense")],
    [("accept-encoding", "gzip")], [("accept-encoding", "gzip"), ("accept-encoding", "identity")],
    [("accept-encoding", "identity"), ("accept-encoding", "gzip")], [("accept-encoding", "GZIP")],
    [("authorization", "Bearer x")], [("authorization", "")], [("if-none-match", "*")], [("if-none-match", '"x"')],
    [("if-none-match", '"x"'), ("if-none-match", "*")], [("x-forwarded-host", "evil.test")], [("cookie", "a=b")],
    [("x-forwarded-proto", "https")], [("forwarded", "host=evil.test")], [("x-original-url", "/v1/makers")],
    [("x-http-method-override", "DELETE")], [("accept-language", "de")], [("range", "bytes=0-3")],
    [("host", "evil.test")],
]  # fmt: skip


@pytest.fixture
def two(loaded: Catalogue) -> tuple[Service, Service]:
    """A service that keeps answers, and one that keeps none."""
    return (
        create_app(Settings(allowed_hosts=HOSTS), loaded, log_to=io.StringIO()),
        create_app(Settings(allowed_hosts=HOSTS, cache_bytes=0), loaded, log_to=io.StringIO()),
    )


def spelt(chance: random.Random, path: str) -> str:
    """The path with one letter percent-encoded, now and then."""
    if chance.random() > 0.25:
        return path
    at = chance.randrange(1, max(2, len(path)))
    return path if path[at : at + 1] in ("", "/") else f"{path[:at]}%{ord(path[at]):02x}{path[at + 1 :]}"


def requests(seed: int, count: int) -> Iterator[tuple[str, str, str, Headers]]:
    """Method, address, host and header lines: a few addresses at a time, so that what is kept is asked again."""
    chance = random.Random(seed)
    for number in range(count):
        if number % 40 == 0:
            paths, queries = chance.sample(sorted(PATHS), 2), chance.sample(QUERIES, 4)
        path = chance.choice(paths)
        query = chance.choice([PATHS[path], PATHS[path], *queries])
        address = spelt(chance, path) + chance.choice(ENDS) + query
        method = chance.choice(["GET", "GET", "GET", "GET", "HEAD", "OPTIONS"])
        yield method, address, chance.choice([*HOSTS, HOSTS[0], "LEGWORK.test"]), chance.choice(LINES)


def said(answer: Raw) -> tuple[int, dict[str, str], str]:
    """What matters of an answer: a link to the next page may spell the same question as the first asker did, and so
    the tag may differ."""
    body = gzip.decompress(answer.body) if "content-encoding" in answer.headers and answer.body else answer.body
    text = body.decode().replace(answer.headers["x-request-id"], "")
    of_these_bytes = ["etag", "content-length", "x-request-id"]
    if answer.status == 304:  # without a length it is not known whether the whole answer is packed for others
        of_these_bytes.append("vary")
    headers = {name: value for name, value in answer.headers.items() if name not in of_these_bytes}
    headers["link"] = SPELLING.sub("", headers.get("link", ""))
    return answer.status, headers, SPELLING.sub("", text)


async def test_whatever_was_asked_before_the_answer_is_that_of_a_service_that_keeps_none(
    two: tuple[Service, Service],
) -> None:
    kept, bare = two
    good = 0
    for method, address, host, lines in requests(seed=5, count=600):
        here = await ask(kept, address, lines, method=method, host=host)
        there = await ask(bare, address, lines, method=method, host=host)
        assert here.status == there.status, (method, address, host, lines)
        good += here.status == 200
        assert said(here) == said(there), (method, address, host, lines)
    assert good > 120
    assert kept.front is not None
    assert kept.front.answers.store.currsize > 0


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


async def test_who_is_refused_is_refused_after_another_was_answered(fresh_database: Fresh, tmp_path: Path) -> None:
    """Every lookup that takes a key, asked with the right one, then without, with another scope, and with none in
    force."""
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
        assert service.app.front is None


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
