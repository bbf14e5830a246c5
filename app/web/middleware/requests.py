"""Gives each request an id, writes one log line for it, and turns an unhandled error into a plain 500."""

import logging
import re
import secrets
from functools import lru_cache
from itertools import count
from time import perf_counter

from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from structlog.typing import FilteringBoundLogger

from app.web.logs import without_keys_cut
from app.web.representation.problem_forms import problem_response

_ACCEPTED_ID = re.compile(rb"[A-Za-z0-9-]{8,64}")
_BEGINNING = secrets.token_hex(5)  # of this worker's request ids
_NUMBERS = count(secrets.randbelow(0x1000000))
NO_ANSWER = 499  # logged only: the client was gone before an answer began (a custom of HTTP servers, no standard)


class RequestLog:
    """One log line per request: the path as sent and the names of the parameters, never their values or a key."""

    def __init__(self, logger: FilteringBoundLogger) -> None:
        self.logger = logger
        self.wanted = logger.is_enabled_for(logging.INFO)

    def __call__(self, scope: Scope, request_id: str, status: int, seconds: float, sent: int) -> None:
        if not self.wanted:
            return
        client = scope.get("client")
        path: bytes = scope.get("state", {}).get("raw_path") or scope["raw_path"]
        self.logger.info(
            "request",
            request_id=request_id,
            method=scope["method"],
            path=without_keys_cut(path.decode("latin-1"), 300),
            parameters=_names(_whole_parameters(scope["query_string"])),
            status=status,
            ms=round(seconds * 1000, 2),
            bytes=sent,
            client=client[0] if client else None,
            agent=_agent(scope),
        )


class Requests:
    """ASGI app: adds the id, logs when all is sent, and turns an unhandled error into a plain 500."""

    def __init__(self, app: ASGIApp, logger: FilteringBoundLogger) -> None:
        self.app = app
        self.logger = logger
        self.log = RequestLog(logger)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        begun = perf_counter()
        state = scope.setdefault("state", {})
        request_id = state["request_id"] = accepted_id(_first_id(scope)) or new_id()
        state["raw_path"] = scope.get("raw_path") or scope["path"].encode("utf-8", "replace")
        status, sent, complete = 0, 0, False

        async def send_counted(message: Message) -> None:
            nonlocal status, sent, complete
            if message["type"] == "http.response.start":
                status = message["status"]
                message = {**message, "headers": [*message["headers"], (b"x-request-id", request_id.encode())]}
            elif message["type"] == "http.response.body":
                sent += len(message.get("body", b""))
                complete = not message.get("more_body", False)
            await send(message)

        try:
            await self.app(scope, receive, send_counted)
        except ClientDisconnect:
            if status == 0:
                status = NO_ANSWER
        except Exception:
            self.logger.error("fault", request_id=request_id, exc_info=True)
            if status == 0:
                response = problem_response(
                    scope, "fault", "The service failed. Its log has the details under this request id."
                )
                await response(scope, receive, send_counted)
            elif not complete:
                raise
        finally:
            if state.get("unchanged"):  # the answer cache sends 304 in place of it
                status, sent = 304, 0
            self.log(scope, request_id, status or NO_ANSWER, perf_counter() - begun, sent)


def accepted_id(sent: bytes | None) -> str | None:
    """The id that the client sent for its request, if it is safe to log and to send back."""
    return None if sent is None or not _ACCEPTED_ID.fullmatch(sent) else sent.decode("ascii")


def _first_id(scope: Scope) -> bytes | None:
    return dict(scope["headers"]).get(b"x-request-id")


def new_id() -> str:
    """A request id that is unique over all workers. It identifies a line in the log and is not secret."""
    return f"{_BEGINNING}{next(_NUMBERS) & 0xFFFFFF:06x}"


@lru_cache(maxsize=1024)
def _names(query: bytes) -> str:
    """The names of the parameters as sent, shortened. Values are not logged: they may be a customer or a key."""
    return without_keys_cut("&".join([part.split(b"=", 1)[0].decode("latin-1") for part in query.split(b"&")]), 200)


def _whole_parameters(query: bytes) -> bytes:
    """The first 2,000 bytes of a query, without a parameter that would be cut: half a key is not recognised."""
    return query if len(query) <= 2000 else query[:2000].rpartition(b"&")[0]


def _agent(scope: Scope) -> str:
    for name, value in scope["headers"]:
        if name == b"user-agent":
            return without_keys_cut(value.decode("latin-1"), 200)
    return ""
