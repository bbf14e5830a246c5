"""Makes lookups as a client: of a server over HTTP, or of a local database through the same web service in process.

Both go through the routes, so the command line gives the same answers as the server.
"""

import asyncio
import io
from collections.abc import Sequence

import httpx
from starlette.types import ASGIApp

from app.errors import Invalid, Unavailable
from app.foreign import ForeignFault, escaped, fetch, one_request_each

TIMEOUT_S = 30.0
_IN_PROCESS = "http://localhost"


def read_parameters(words: Sequence[str]) -> list[tuple[str, str]]:
    """Split `travel=150` into name and value. Raises Invalid for a word without `=`."""
    for word in words:
        if "=" not in word:
            raise Invalid.one(
                "not-a-parameter", f"{word} is not a parameter. Write parameters as name=value, such as travel=150."
            )
    return [(name, value) for name, _, value in (word.partition("=") for word in words)]


def ask_server(server: str, path: str, parameters: Sequence[tuple[str, str]], media_type: str) -> httpx.Response:
    """The response of a server. Raises Unavailable if it cannot be reached."""
    try:
        with httpx.Client(
            base_url=server, timeout=TIMEOUT_S, follow_redirects=False, limits=one_request_each()
        ) as client:
            return fetch(client, _request(client, path, parameters, media_type), seconds=TIMEOUT_S)
    except (ForeignFault, httpx.HTTPError, httpx.InvalidURL, UnicodeError) as error:
        why = escaped(str(error) or type(error).__name__)
        raise Unavailable(f"cannot reach {escaped(server)}: {why}") from error


def ask_app(app: ASGIApp, path: str, parameters: Sequence[tuple[str, str]], media_type: str) -> httpx.Response:
    """The response of a service in this process; `app` is the result of `create_app`."""

    async def ask() -> httpx.Response:
        transport = httpx.ASGITransport(app)
        async with httpx.AsyncClient(transport=transport, base_url=_IN_PROCESS) as client:
            return await client.send(_request(client, path, parameters, media_type))

    return asyncio.run(ask())


def _request(
    client: httpx.Client | httpx.AsyncClient, path: str, parameters: Sequence[tuple[str, str]], media_type: str
) -> httpx.Request:
    where = path if path.startswith("/") else f"/v1/{path}"
    made: httpx.Request = client.build_request(
        "GET", where, params=list(parameters) or None, headers={"Accept": media_type}
    )
    return made


def silent() -> io.StringIO:
    """A sink for the log of a service in this process."""
    return io.StringIO()
