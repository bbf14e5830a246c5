"""Reads the catalogue that a copy mirrors over HTTP. Retries dropped connections and checks every answer strictly."""

import datetime as dt
import time
import unicodedata
from collections.abc import Callable, Iterator
from typing import Annotated, Literal, NotRequired, TypeVar

import httpx
from pydantic import AfterValidator, Field, TypeAdapter, ValidationError
from typing_extensions import TypedDict

from app.errors import Conflict, Unavailable
from app.foreign import ForeignFault, escaped, fetch, one_request_each, read_json
from app.json_types import JsonObject

LIMIT = 1000  # changes per page, the most permitted
PASSING = {429, 500, 502, 503, 504}
LONGEST_WAIT_S = 60.0
TIMEOUT = httpx.Timeout(30.0)
MOST_CHANGES = 10_000_000
"""Changes of one revision that are taken; a larger one is not believed."""

T = TypeVar("T")


def _moment(text: str) -> str:
    if dt.datetime.fromisoformat(text).utcoffset() != dt.timedelta():
        raise ValueError("not in UTC")
    return text


def _words(text: str) -> str:
    if any(unicodedata.category(each) in ("Cc", "Cs") and each not in "\n\t" for each in text):
        raise ValueError("a control character")
    return text


OriginNumber = Annotated[int, Field(ge=0, lt=2**31)]
OriginMoment = Annotated[str, Field(max_length=40, pattern=r"^\d{4}-\d\d-\d\dT[0-9:.]+Z$"), AfterValidator(_moment)]
Words = Annotated[str, Field(max_length=2_000), AfterValidator(_words)]
Label = Annotated[str, Field(max_length=200), AfterValidator(_words)]
OriginId = Annotated[str, Field(min_length=1, max_length=80)]


class OriginRevision(TypedDict):
    """One revision, as the origin recorded it; an older build gives no lineage."""

    number: OriginNumber
    recorded_at: OriginMoment
    reason: Words
    who: Label
    lineage: NotRequired[Annotated[str, Field(pattern=r"^[0-9a-f]{16}$")]]
    added: OriginNumber
    changed: OriginNumber
    withdrawn: OriginNumber


class OriginChange(TypedDict):
    """One change of one row; `row` is absent if it was withdrawn."""

    revision: OriginNumber
    recorded_at: OriginMoment
    reason: Words
    who: Label
    table: OriginId
    op: Literal["put", "withdraw"]
    id: OriginId
    row: NotRequired[JsonObject]


class _Revision(TypedDict):
    recorded: OriginRevision


class _Changes(TypedDict):
    changes: list[OriginChange]
    next: NotRequired[str]


class _Hash(TypedDict):
    content_hash: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    hash_version: NotRequired[OriginNumber]


_REVISION, _CHANGES, _HASH = TypeAdapter(_Revision), TypeAdapter(_Changes), TypeAdapter(_Hash)


def client_of(url: str, key: str | None) -> httpx.Client:
    """A client that follows no redirect, so that the key goes nowhere else, and keeps no connection (see `fetch`)."""
    headers = {"Accept": "application/json", "User-Agent": "legwork-mirror"}
    if key is not None:
        headers["Authorization"] = f"Bearer {key}"
    return httpx.Client(
        base_url=url, headers=headers, timeout=TIMEOUT, follow_redirects=False, limits=one_request_each()
    )


class Origin:
    """One origin. Each request is tried `tries` times (None: for ever), with growing pauses.

    Raises Unavailable if it does not answer, or not as this service does; Conflict if its answers disagree.
    """

    def __init__(
        self, client: httpx.Client, *, tries: int | None = 6, pause: Callable[[float], None] = time.sleep
    ) -> None:
        self.client = client
        self.tries = tries
        self.pause = pause

    def recorded(self, number: int) -> OriginRevision | None:
        """The revision with that number; None if there is none."""
        response = self._answer(f"/v1/revisions/{number}")
        return None if response.status_code == 404 else _read(response, _REVISION)["recorded"]

    def content_hash(self, number: int) -> tuple[str, int]:
        """The content hash of that revision, and the version of its definition (1 if the origin gives none)."""
        found = _read(self._answer(f"/v1/content-hash?revision={number}"), _HASH)
        return found["content_hash"], found.get("hash_version", 1)

    def changes(self, after: int) -> Iterator[OriginChange]:
        """The feed after a revision, page by page. Numbers are Decimal with their digits, or int."""
        address: str | None = f"/v1/changes?after={after}&limit={LIMIT}"
        before, of_one = (after, "~", ""), 0
        while address is not None:
            page = _read(self._answer(address), _CHANGES)
            for change in page["changes"]:
                place = (change["revision"], change["table"], change["id"])
                of_one = of_one + 1 if place[0] == before[0] else 1
                if place <= before or of_one > MOST_CHANGES:
                    raise Conflict("the origin sends its changes out of order, or too many; nothing of them was stored")
                before = place
                yield change
            address = page.get("next")
            if address is not None and not address.startswith("/v1/changes?"):
                raise Conflict(
                    f"the origin names {address[:80]!r} as the next page of its feed; it is not a service of this kind"
                )
            if address is not None and not page["changes"]:
                raise Conflict("the origin sends an empty page and says that more follow")

    def _answer(self, address: str) -> httpx.Response:
        tried = 0
        while True:
            tried += 1
            wait = min(0.25 * 2.0 ** min(tried, 10), LONGEST_WAIT_S)
            try:
                response = fetch(self.client, self.client.build_request("GET", address))
            except (httpx.InvalidURL, httpx.UnsupportedProtocol, ForeignFault) as error:
                raise Unavailable(f"the origin cannot be read: {escaped(str(error))}") from error
            except httpx.RequestError as error:
                why = escaped(str(error)) or type(error).__name__
            else:
                if response.status_code not in PASSING:
                    return response
                why = f"it answers {response.status_code}"
                asked = response.headers.get("retry-after", "")
                wait = min(float(asked), LONGEST_WAIT_S) if asked.isdecimal() and asked.isascii() else wait
            if self.tries is not None and tried >= self.tries:
                raise Unavailable(f"the origin cannot be read: {why}")
            self.pause(wait)


def _read(response: httpx.Response, shape: TypeAdapter[T]) -> T:
    try:
        answer = read_json(response.content, "the answer")
        if response.status_code == 200:
            return shape.validate_python(answer, strict=True)
        said = answer.get("detail") if isinstance(answer, dict) else None
        why = escaped(said)[:200] if isinstance(said, str) else "not an answer from a service of this kind"
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        place = "/".join(map(str, first["loc"]))
        why = f"not an answer from a service of this kind ({escaped(place)[:100]}: {first['msg'][:100]})"
    except ForeignFault as fault:
        why = f"not an answer from a service of this kind: {fault}"
    raise Unavailable(f"the origin answers {response.status_code}: {why}")
