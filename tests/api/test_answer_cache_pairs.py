"""Thousands of requests, each sent to a service with an answer cache and to one without: the answers must be equal.

`LEGWORK_TEST_PAIRS=20000` sets the number of pairs for each engine and mode."""

import gzip
import io
import json
import os
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from app.access import keys
from app.catalogue.catalogue import Catalogue
from app.catalogue.lineage import BEGINNING, Head
from app.main import Service, create_app
from app.settings import Settings
from app.web.access import caller_of
from app.web.representation.entity_tags import etag_of
from tests.api.raw import Headers, Raw, ask
from tests.api.writing import shop_beside

pytestmark = pytest.mark.anyio
PAIRS = int(os.environ.get("LEGWORK_TEST_PAIRS", "500"))
HOSTS = ["legwork.test", "other.test"]
FORK = "/v1/chassis/quembry-trivet-35"
PATHS = {
    f"{FORK}/fits": "?travel=150", f"{FORK}/sheet": "?travel=150", f"{FORK}/setup": "?rider_mass=80&travel=150",
    "/v1/makers": "?limit=2", "/v1/units": "", "/v1/fits": "?limit=2", "/v1/search": "?q=150", "/": "?q=trivet",
    "/v1/torques/torque-crock-39-axle": "?revision=1", "/v1/revisions": "", "/problems": "", "/problems/gone": "",
    "/v1/standards/threads": "", "/v1/convert": "?value=6.8&from=N%C2%B7m&to=in-lb", "/v1/findings": "?limit=2",
    "/v1/changes": "?after=0&limit=2", "/v1/forks": "", "/v1/flags": "", "/docs": "", "/openapi.json": "",
    "/static/card.css": "", "/healthz": "",
}  # fmt: skip
"""With parameters that have an answer."""
QUERIES = [
    "", "?", "?travel=150", "?travel=150&model_year=2023", "?model_year=2023&travel=150", "?travel=150&travel=160",
    "?tr%61vel=150", "?travel=15%30", "?limit=2", "?limit=2&&", "?limit=2&format=json", "?format=json", "?format=csv",
    "?format=html", "?format=txt", "?format=json&format=csv", "?FORMAT=csv", "?format=", "?q=150", "?q=150&limit=2",
    "?q=%C3%A9", "?q=e%CC%81", "?q=%ff", "?revision=1", "?as_of=2026-01-01", "?units=imperial", "?units=imperial&q=a+b",
    "?units=imperial&q=a%20b", "?rider_mass=80&travel=150", "?fork=a", "?travel=150&units=metric",
    "?travel=150&units=imperial", "?limit=2&units=imperial", "?travel=5.9in",
]  # fmt: skip
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
    [("accept-encoding", "gzip;q=0")], [("accept-encoding", "x-gzipfoo")], [("accept-encoding", "br, *;q=0.1")],
    [("accept-encoding", "gzip;q=0.000, *")], [("accept-encoding", "")], [("accept-encoding", "deflate, gzip;q=1.0")],
    [("authorization", "Bearer x")], [("authorization", "")], [("authorization", "?key")], [("authorization", "?key")],
    [("authorization", "?bench")], [("authorization", "?key"), ("authorization", "Bearer x")],
    [("if-none-match", "*")], [("if-none-match", '"x"')], [("if-none-match", '"x"'), ("if-none-match", "*")],
    [("if-none-match", "?etag")], [("if-none-match", "?etag")], [("if-none-match", 'W/"x", ?etag')],
    [("if-none-match", "?etag"), ("accept-encoding", "gzip")], [("if-none-match", "?etag"), ("accept", "text/html")],
    [("x-forwarded-host", "evil.test")], [("cookie", "a=b")], [("cookie", "legwork-session=no")],
    [("cookie", "a=b"), ("cookie", "legwork-session=no")], [("x-forwarded-proto", "https")],
    [("forwarded", "host=evil.test")], [("x-original-url", "/v1/makers")], [("x-http-method-override", "DELETE")],
    [("accept-language", "de")], [("range", "bytes=0-3")], [("host", "evil.test")], [("content-length", "0")],
    [("expect", "100-continue")], [("x-many", "1")] * 101, [("x-long", "x" * 9_000), ("x-long", "x" * 9_000)],
    [("user-agent", "Mozilla/5.0")], [("x-request-id", "chosen-by-the-client")], [("upgrade-insecure-requests", "1")],
]  # fmt: skip


def spelt(chance: random.Random, path: str) -> str:
    """The path, now and then with one letter percent-encoded."""
    if chance.random() > 0.25:
        return path
    at = chance.randrange(1, max(2, len(path)))
    return path if path[at : at + 1] in ("", "/") else f"{path[:at]}%{ord(path[at]):02x}{path[at + 1 :]}"


def requests(seed: int, count: int) -> Iterator[tuple[str, str, str, Headers]]:
    """Method, address, host and headers, drawn from a few addresses at a time so that cached answers are hit."""
    chance = random.Random(seed)
    for number in range(count):
        if number % 40 == 0:
            paths, queries = chance.sample(sorted(PATHS), 2), chance.sample(QUERIES, 3)
        path = chance.choice(paths)
        query = chance.choice([PATHS[path], PATHS[path], PATHS[path], *queries])
        address = (spelt(chance, path) + chance.choice(ENDS) if chance.random() < 0.5 else path) + query
        method = chance.choice(["GET", "GET", "GET", "GET", "GET", "HEAD", "OPTIONS"])
        lines = [*chance.choice(LINES), *(chance.choice(LINES) if chance.random() < 0.3 else [])]
        yield method, address, chance.choice([*HOSTS, HOSTS[0], "LEGWORK.test"]), lines


def said(answer: Raw) -> tuple[int, dict[str, str], bytes]:
    """The whole answer except the request id and the remaining rate (a 304 from the cache does not count
    towards it)."""
    id = answer.headers["x-request-id"].encode()
    own = ("x-request-id", "ratelimit")
    headers = {name: value for name, value in answer.headers.items() if name not in own}
    body = answer.body
    if headers.get("content-encoding") == "gzip" and body:
        body = gzip.decompress(body)
    if answer.status >= 400:
        headers.pop("content-length", None)  # of the compressed bytes, which contain another id
    return answer.status, headers, body.replace(id, b"")


WAYS: dict[str, dict[str, Any]] = {
    "as shipped": {}, "with a read rate": {"read_rate": "10000000/minute"}, "closed reads": {"open_reads": False},
}  # fmt: skip


@pytest.mark.parametrize("way", WAYS)
async def test_every_answer_is_that_of_a_service_that_keeps_none(loaded: Catalogue, tmp_path: Path, way: str) -> None:
    url = f"sqlite:///{tmp_path / 'catalogue.db'}"
    with shop_beside(url, tmp_path) as shop:
        tokens = {f"?{name}": f"Bearer {keys.add(shop, name, [scope]).token}" for name, scope in SCOPES.items()}
        kept, bare = (
            create_app(Settings(allowed_hosts=HOSTS, **WAYS[way], **more), loaded, shop, log_to=io.StringIO())
            for more in ({}, {"cache_bytes": 0})
        )
        if way == "closed reads":
            tokens["Bearer x"] = tokens["?key"]  # otherwise hardly anything would be answered
        etags = ['"x"']
        found = {"good": 0, "unchanged": 0}
        chance = random.Random(3)
        for method, address, host, lines in requests(seed=5 + PAIRS, count=PAIRS):
            lines = [(name, tokens.get(value, value).replace("?etag", chance.choice(etags))) for name, value in lines]
            if way == "closed reads" and chance.random() < 0.7:
                lines.append(("authorization", tokens["?key"]))
            here = await ask(kept, address, lines, method=method, host=host)
            there = await ask(bare, address, lines, method=method, host=host)
            assert said(here) == said(there), (method, address, host, lines)
            found["good"] += here.status == 200
            found["unchanged"] += here.status == 304
            if "etag" in here.headers:
                etags = [here.headers["etag"], here.headers["etag"], *etags[:4]]
        assert found["good"] > PAIRS / 8, found
        assert found["unchanged"] > PAIRS / 200, found
        assert kept.answers.bytes > 0
        assert bare.answers.bytes == 0


SCOPES = {"key": "read", "bench": "bench"}


class OneRevision:
    """A stub catalogue that is always at revision 1."""

    def known(self) -> Head:
        return Head(1, BEGINNING)

    def look_again(self) -> None:
        """Nothing changes."""


async def everything(request: Request) -> Response:
    """Answers with everything that a route can read of its request."""
    scope = request.scope
    state = {name: scope["state"][name] for name in ("suffix", "if_none_match") if name in scope["state"]}
    plain = {name: repr(scope.get(name)) for name in (*PLAIN, "headers")}
    body = json.dumps([plain, state, str(request.url), dict(request.query_params), str(request.client)]).encode()
    return Response(body, headers={"ETag": etag_of(body), "Cache-Control": "no-cache"})


PLAIN = ("method", "path", "raw_path", "query_string", "scheme", "http_version", "client", "server", "root_path")


async def mine(request: Request) -> Response:
    """Answers with the label of the key; the route forgets to say `no-store`."""
    caller = await caller_of(request)
    body = b"nobody" if caller is None else caller.label.encode()
    return Response(body, headers={"ETag": etag_of(body), "Cache-Control": "no-cache"})


def probed(catalogue: Any, shop: Any = None, **more: Any) -> Service:
    """A service with two routes that read more of a request than any real route does."""
    service = create_app(Settings(allowed_hosts=HOSTS, **more), catalogue, shop, log_to=io.StringIO())
    service.router.routes[:0] = [Route("/v1/everything", everything), Route("/v1/mine", mine)]
    return service


async def test_the_key_holds_all_that_a_route_can_read() -> None:
    """The strongest form of the test: the answer contains everything that can be read from the request."""
    kept, bare = probed(OneRevision()), probed(OneRevision(), cache_bytes=0)
    for method, address, host, lines in requests(seed=9, count=4 * PAIRS):
        address = "/v1/everything" + _end(address)
        here = await ask(kept, address, lines, method=method, host=host)
        there = await ask(bare, address, lines, method=method, host=host)
        assert said(here) == said(there), (method, address, host, lines)
    assert kept.answers.bytes > 0


def _end(address: str) -> str:
    path, mark, query = address.partition("?")
    return (path[path.rindex(".") :] if "." in path else "") + mark + query


async def test_an_answer_that_depends_on_whose_key_it_is_is_for_that_key_alone(tmp_path: Path) -> None:
    with shop_beside(f"sqlite:///{tmp_path / 'catalogue.db'}", tmp_path) as shop:
        tokens = [str(keys.add(shop, name, ["read"]).token) for name in ("one", "two")]
        service = probed(OneRevision(), shop)
        for _ in range(2):
            for name, token in zip(("one", "two"), tokens, strict=True):
                answer = await ask(service, "/v1/mine", [("authorization", f"Bearer {token}")])
                assert answer.body == name.encode()
            assert (await ask(service, "/v1/mine")).body == b"nobody"
