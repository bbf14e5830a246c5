"""Deprecated operations and parameters say so in the headers of RFC 9745 and RFC 8594, and in the description."""

import datetime as dt
import io
import json
from collections.abc import Iterator

import httpx
import pytest
from openapi_spec_validator import validate

from app.catalogue.catalogue import Catalogue
from app.main import create_app
from app.settings import Settings
from app.web.contract.deprecations import DEPRECATED, LINK, Deprecation, announce, mark
from app.web.contract.openapi import served

# RFC 9745, section 2.1, shows `Deprecation: @1688169599`, the last second of June 2023 (UTC); a day later, less
# that second, is @1688256000. RFC 8594, section 3, shows `Sunset: Sat, 31 Dec 2018 23:59:59 GMT`: an HTTP date.
SINCE, AS_IN_THE_RFC = dt.date(2023, 7, 2), 1688169599 + 1 + 86_400
SUNSET, AS_HTTP_DATE = dt.date(2018 + 12, 12, 31), "Tue, 31 Dec 2030 00:00:00 GMT"
WHOLE = Deprecation(SINCE, "use `/v1/units`.", SUNSET)
DIGITS = Deprecation(SINCE, "use `round`.", parameter="digits")
CONVERT = "/v1/convert?value=1&from=mm&to=in"


@pytest.fixture
def deprecated(loaded: Catalogue, monkeypatch: pytest.MonkeyPatch) -> Iterator[httpx.Client]:
    """Declares `/v1/units` and one parameter of `/v1/convert` deprecated, and nothing else."""
    app = create_app(Settings(allowed_hosts=["legwork.test"]), loaded, log_to=io.StringIO())
    routes = [each for each in app.router.routes if getattr(each, "path", "") in ("/v1/units", "/v1/convert")]
    for route in routes:
        monkeypatch.setattr(route, "app", route.app)  # type: ignore[attr-defined]
    announce(routes, {"listUnits": (WHOLE,), "convert": (DIGITS,)})
    return httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://legwork.test")


@pytest.mark.anyio
async def test_a_deprecated_operation_says_since_and_until_when(deprecated: httpx.AsyncClient) -> None:
    first = await deprecated.get("/v1/units")
    again = await deprecated.get("/v1/units", headers={"If-None-Match": first.headers["etag"]})
    assert (first.status_code, again.status_code) == (200, 304)
    for response in (first, again):
        assert response.headers["deprecation"] == f"@{AS_IN_THE_RFC}"
        assert response.headers["sunset"] == AS_HTTP_DATE
        assert response.headers["link"] == LINK
    assert first.links["deprecation"]["url"] == "/openapi.json"


@pytest.mark.anyio
async def test_a_deprecated_parameter_is_named_only_where_it_is_used(deprecated: httpx.AsyncClient) -> None:
    for _ in range(2):
        used = await deprecated.get(f"{CONVERT}&digits=3")
        assert used.headers["deprecation"] == f"@{AS_IN_THE_RFC}"
        assert "sunset" not in used.headers
        unused = await deprecated.get(CONVERT)
        assert (unused.status_code, unused.headers.keys() & {"deprecation", "link"}) == (200, set())


def test_the_description_says_so_and_stays_valid() -> None:
    document = json.loads(served())
    mark(document, {"listUnits": (WHOLE,), "convert": (DIGITS,)})
    validate(document)
    whole, convert = (document["paths"][path]["get"] for path in ("/v1/units", "/v1/convert"))
    assert whole["deprecated"] is True
    assert whole["description"].endswith("Deprecated since 2023-07-02, answered until 2030-12-31: use `/v1/units`.")
    assert "deprecated" not in convert
    assert [each["name"] for each in convert["parameters"] if each.get("deprecated")] == ["digits"]


@pytest.mark.parametrize("entries", [{"gone": (WHOLE,)}, {"convert": (Deprecation(SINCE, "…", parameter="digit"),)}])
def test_an_entry_that_names_nothing_is_refused(entries: dict[str, tuple[Deprecation, ...]]) -> None:
    with pytest.raises(LookupError):
        mark(json.loads(served()), entries)


def test_a_sunset_is_not_before_the_deprecation() -> None:
    with pytest.raises(ValueError, match="RFC 9745"):
        Deprecation(SINCE, "…", SINCE - dt.timedelta(1))


def test_what_is_marked_in_the_description_is_what_is_registered() -> None:
    document = json.loads(served())
    marked = set()
    for item in document["paths"].values():
        for operation in item.values():
            marked |= {(operation["operationId"], None)} if operation.get("deprecated") else set()
            named = [each for each in operation.get("parameters", []) if each.get("deprecated")]
            marked |= {(operation["operationId"], each["name"]) for each in named}
    assert marked == {(name, entry.parameter) for name, entries in DEPRECATED.items() for entry in entries}
