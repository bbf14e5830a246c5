"""Deprecated operations and parameters, marked in the OpenAPI document and in each answer that uses them.

Such an answer has `Deprecation` (RFC 9745), `Sunset` if the day is known (RFC 8594), and a link to the document. An
entry that names nothing, or a sunset before the deprecation, is refused.
"""

import datetime as dt
import urllib.parse
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from email.utils import format_datetime

from starlette.datastructures import MutableHeaders
from starlette.routing import BaseRoute
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.json_types import JsonObject

DeprecatedDocument = JsonObject
LINK = '</openapi.json>; rel="deprecation"; type="application/json"'


@dataclass(frozen=True, slots=True)
class Deprecation:
    """The deprecation of an operation or of one query parameter: since when, until when, and what to use instead."""

    since: dt.date
    instead: str
    sunset: dt.date | None = None
    parameter: str | None = None

    def __post_init__(self) -> None:
        if self.sunset is not None and self.sunset < self.since:
            raise ValueError("a sunset is not before the deprecation (RFC 9745, section 4)")

    def concerns(self, query: bytes) -> bool:
        """Whether a request with this query uses the deprecated thing."""
        if self.parameter is None:
            return True
        pairs = urllib.parse.parse_qsl(query.decode("latin-1"), keep_blank_values=True)
        return any(name == self.parameter for name, _ in pairs)

    @property
    def text(self) -> str:
        """The deprecation in a sentence, for the OpenAPI document."""
        until = f", answered until {self.sunset.isoformat()}" if self.sunset else ""
        return f"Deprecated since {self.since.isoformat()}{until}: {self.instead}"


DEPRECATED: Mapping[str, tuple[Deprecation, ...]] = {}
"""By operation id. Nothing is deprecated yet; DEVELOPERS.md says how to deprecate something."""


def announce(routes: Iterable[BaseRoute], deprecated: Mapping[str, tuple[Deprecation, ...]] = DEPRECATED) -> None:
    """Make each deprecated route add the headers to its answers."""
    for route in routes:
        if found := deprecated.get(getattr(route, "operation_id", None) or ""):
            route.app = _announcing(route.app, found)  # type: ignore[attr-defined]


def mark(document: DeprecatedDocument, deprecated: Mapping[str, tuple[Deprecation, ...]] = DEPRECATED) -> None:
    """Mark deprecated operations in the document. Raises LookupError for an unknown one."""
    operations = {each["operationId"]: each for item in document["paths"].values() for each in item.values()}
    for operation_id, entries in deprecated.items():
        operation = operations[operation_id]
        for entry in entries:
            _mark_one(operation, entry)


def _mark_one(operation: DeprecatedDocument, entry: Deprecation) -> None:
    marked = operation
    if entry.parameter is not None:
        named = {each["name"]: each for each in operation.get("parameters", []) if each.get("in") == "query"}
        marked = named[entry.parameter]
    marked["deprecated"] = True
    marked["description"] = f"{marked['description']} {entry.text}"


def _announcing(app: ASGIApp, entries: tuple[Deprecation, ...]) -> ASGIApp:
    async def announcing(scope: Scope, receive: Receive, send: Send) -> None:
        used = [entry for entry in entries if entry.concerns(scope["query_string"])]

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                _add_headers(MutableHeaders(scope=message), used)
            await send(message)

        await app(scope, receive, send_with_headers if used else send)

    return announcing


def _add_headers(headers: MutableHeaders, used: list[Deprecation]) -> None:
    headers["Deprecation"] = f"@{int(_midnight(min(entry.since for entry in used)).timestamp())}"
    if sunsets := [entry.sunset for entry in used if entry.sunset is not None]:
        headers["Sunset"] = format_datetime(_midnight(min(sunsets)), usegmt=True)
    headers.append("Link", LINK)


def _midnight(day: dt.date) -> dt.datetime:
    return dt.datetime.combine(day, dt.time(), dt.UTC)
