"""Byte-exact requests to an in-process service: repeated header lines and spellings that no client library sends."""

from dataclasses import dataclass
from typing import Any
from urllib.parse import unquote

Headers = list[tuple[str, str]]


@dataclass(frozen=True)
class Raw:
    """The raw answer."""

    status: int
    headers: dict[str, str]
    body: bytes

    def but_its_id(self) -> tuple[int, dict[str, str], bytes]:
        """The answer without the request id, which differs each time."""
        id = self.headers.get("x-request-id", "no id")
        kept = {name: value for name, value in self.headers.items() if name != "x-request-id"}
        return self.status, kept, self.body.replace(id.encode(), b"")


async def ask(
    app: Any, address: str, headers: Headers | None = None, *, method: str = "GET", host: str = "legwork.test"
) -> Raw:
    """Send one request without a body; the scope is built as the HTTP server builds it (ASGI 3, HTTP 1.1)."""
    raw, _, query = address.encode("latin-1").partition(b"?")
    lines = [("host", host), *(headers or [])]
    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method, "scheme": "http",
        "path": unquote(raw.decode("latin-1")), "raw_path": raw, "query_string": query, "root_path": "",
        "headers": [(name.lower().encode(), value.encode("latin-1")) for name, value in lines],
        "client": ("127.0.0.1", 1), "server": ("127.0.0.1", 80), "state": {},
    }  # fmt: skip
    said: list[Any] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Any) -> None:
        said.append(message)

    await app(scope, receive, send)
    start, *bodies = said
    found: dict[str, str] = {}
    for name, value in start["headers"]:
        key = name.decode("latin-1").lower()
        found[key] = f"{found[key]}, {value.decode('latin-1')}" if key in found else value.decode("latin-1")
    return Raw(start["status"], found, b"".join(part.get("body", b"") for part in bodies))
