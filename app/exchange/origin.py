"""Reads the catalogue that a copy mirrors over HTTP. Retries dropped connections and checks every answer strictly."""

import json
import time
from collections.abc import Callable, Iterator
from decimal import Decimal

import httpx

from app.errors import Conflict, Unavailable
from app.json_types import JsonObject

LIMIT = 1000  # changes per page, the most permitted
PASSING = {429, 500, 502, 503, 504}
LONGEST_WAIT_S = 60.0
TIMEOUT = httpx.Timeout(30.0)


def client_of(url: str, key: str | None) -> httpx.Client:
    """A client that follows no redirect, so that the key goes nowhere else."""
    headers = {"Accept": "application/json", "User-Agent": "legwork-mirror"}
    if key is not None:
        headers["Authorization"] = f"Bearer {key}"
    return httpx.Client(base_url=url, headers=headers, timeout=TIMEOUT, follow_redirects=False)


class Origin:
    """Requests to the origin. Each is tried `tries` times (None: forever), with growing pauses.

    Raises Unavailable if the origin does not answer, Conflict if its answer does not belong to the catalogue copied so
    far.
    """

    def __init__(
        self, client: httpx.Client, *, tries: int | None = 6, pause: Callable[[float], None] = time.sleep
    ) -> None:
        self.client = client
        self.tries = tries
        self.pause = pause

    def recorded(self, number: int) -> JsonObject | None:
        """The revision with that number; None if there is none."""
        response = self._answer(f"/v1/revisions/{number}")
        return None if response.status_code == 404 else self._json(response)["recorded"]

    def content_hash(self, number: int) -> tuple[str, int]:
        """The content hash of that revision, and the version of its definition (1 if the origin gives none)."""
        found = self._json(self._answer(f"/v1/content-hash?revision={number}"))
        return found["content_hash"], found.get("hash_version", 1)

    def changes(self, after: int) -> Iterator[JsonObject]:
        """The feed after a revision, page by page. Numbers are Decimal with their digits, or int."""
        address: str | None = f"/v1/changes?after={after}&limit={LIMIT}"
        while address is not None:
            page = self._json(self._answer(address))
            yield from page["changes"]
            address = page.get("next")
            if address is not None and not address.startswith("/v1/changes?"):
                raise Conflict(
                    f"the origin names {address[:80]!r} as the next page of its feed; it is not a service of this kind"
                )

    def _answer(self, address: str) -> httpx.Response:
        tried = 0
        while True:
            tried += 1
            wait = min(0.25 * 2.0 ** min(tried, 10), LONGEST_WAIT_S)
            try:
                response = self.client.get(address)
            except httpx.RequestError as error:
                why = str(error) or type(error).__name__
            else:
                if response.status_code not in PASSING:
                    return response
                why = f"it answers {response.status_code}"
                retry_after = response.headers.get("retry-after", "")
                wait = min(float(retry_after), LONGEST_WAIT_S) if retry_after.isdigit() else wait
            if self.tries is not None and tried >= self.tries:
                raise Unavailable(f"the origin cannot be read: {why}")
            self.pause(wait)

    def _json(self, response: httpx.Response) -> JsonObject:
        try:
            answer = json.loads(response.content, parse_float=Decimal)
        except ValueError:
            answer = None
        if response.status_code != 200 or not isinstance(answer, dict):
            detail = (
                answer.get("detail", "") if isinstance(answer, dict) else ("not an answer from a service of this kind")
            )
            raise Unavailable(f"the origin answers {response.status_code}: {str(detail)[:200]}")
        return answer
