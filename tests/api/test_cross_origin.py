"""The headers that let a page of another origin read our answers in a browser (Fetch standard, CORS protocol)."""

from typing import Any

import httpx
import pytest
from pydantic import ValidationError

from app.catalogue.catalogue import Catalogue
from app.main import create_app
from app.settings import Settings
from app.web.server.server import config_of
from tests.api.raw import ask

pytestmark = pytest.mark.anyio

SHOP = "https://shop.example.org"
FITS = "/v1/chassis/quembry-trivet-35/fits?travel=150"
EXPOSED = "ETag, Link, Location, Retry-After, RateLimit, RateLimit-Policy, X-Request-Id, Deprecation, Sunset"


def service(catalogue: Catalogue, **given: Any) -> Any:
    """The application as the server runs it."""
    settings = Settings(allowed_hosts=["legwork.test"], **given)
    return config_of(create_app(settings, catalogue), settings).app


async def test_an_answer_names_the_origin_that_may_read_it_whether_it_was_kept_or_not(loaded: Catalogue) -> None:
    app = service(loaded, cors_origins=[SHOP])
    for _ in range(3):
        answer = await ask(app, FITS, [("origin", SHOP)])
        assert answer.headers["access-control-allow-origin"] == SHOP
        assert answer.headers["access-control-expose-headers"] == EXPOSED
        assert "access-control-allow-credentials" not in answer.headers
        assert "Origin" in answer.headers["vary"]
        tag = answer.headers["etag"]
        unchanged = await ask(app, FITS, [("origin", SHOP), ("if-none-match", tag)])
        assert unchanged.status == 304
        assert unchanged.headers["access-control-allow-origin"] == SHOP
        for others in ([], [("origin", "https://evil.test")], [("origin", "null")], [("origin", SHOP + ".evil.test")]):
            other = await ask(app, FITS, others)
            assert "access-control-allow-origin" not in other.headers
            assert other.body == answer.body
            assert "Origin" in other.headers["vary"]


async def test_a_preflight_is_answered_before_keys_are_checked(loaded: Catalogue) -> None:
    app = service(loaded, cors_origins=[SHOP], open_reads=False)
    wanted = [("access-control-request-method", "PUT"), ("access-control-request-headers", "authorization,if-match")]
    answer = await ask(app, "/v1/chassis/x", [("origin", SHOP), *wanted], method="OPTIONS")
    assert answer.status == 200
    assert answer.headers["access-control-allow-origin"] == SHOP
    assert "PUT" in answer.headers["access-control-allow-methods"]
    assert {"authorization", "if-match", "idempotency-key"} <= {
        name.strip().lower() for name in answer.headers["access-control-allow-headers"].split(",")
    }
    refused = await ask(app, "/v1/chassis/x", [("origin", "https://evil.test"), *wanted], method="OPTIONS")
    assert refused.status == 400
    assert "access-control-allow-origin" not in refused.headers
    assert (await ask(app, FITS, [("origin", SHOP)])).status == 401


async def test_without_the_setting_no_answer_speaks_of_origins(loaded: Catalogue) -> None:
    answer = await ask(service(loaded), FITS, [("origin", SHOP)])
    assert not [name for name in answer.headers if name.startswith("access-control-")]


@pytest.mark.parametrize(
    "given",
    ["https://shop.example.org/", "shop.example.org", "null", "https://*.example.org", "ftp://a", "https://a:443",
     "http://a:80", "http://u@a", "https://a b", "[1]", "[", "https://a?x", "file://"],
)  # fmt: skip
def test_what_is_no_origin_is_refused(given: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LEGWORK_CORS_ORIGINS", given)
    with pytest.raises(ValidationError):
        Settings()


def test_origins_are_read_as_words_or_as_json(monkeypatch: pytest.MonkeyPatch) -> None:
    for given in ("https://A.example.org, http://[::1]:8080", '["https://a.example.org", "http://[::1]:8080"]'):
        monkeypatch.setenv("LEGWORK_CORS_ORIGINS", given)
        assert Settings().cors_origins == ["https://a.example.org", "http://[::1]:8080"]


def test_any_origin_may_read_only_what_is_open() -> None:
    assert Settings(cors_origins=["*"]).cors_origins == ["*"]
    with pytest.raises(ValidationError, match="LEGWORK_CORS_ORIGINS"):
        Settings(cors_origins=["*"], open_reads=False)


async def test_a_transport_of_a_client_sees_the_same(loaded: Catalogue) -> None:
    transport = httpx.ASGITransport(service(loaded, cors_origins=["*"]))
    async with httpx.AsyncClient(transport=transport, base_url="http://legwork.test") as client:
        answer = await client.get(FITS, headers={"Origin": "https://anywhere.test"})
    assert answer.headers["access-control-allow-origin"] == "*"
