"""API keys of requests: authentication, scopes and the audit entry of a write.

A signed-in browser may read whatever its key may. It writes only through the forms of our own pages; every other write
needs the key itself, so a page of another site cannot make a browser write anything.
"""

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from starlette.requests import Request
from starlette.types import Scope as Connection

from app.access import audit, keys
from app.access.keys import Caller, KeyScope
from app.database.connections import Database
from app.errors import Refusal, SentFromElsewhere, Unauthorised

T = TypeVar("T")
LOOKING = {"GET", "HEAD"}
NO_KEY = "This needs an API key. Send it as Authorization: Bearer …"


@dataclass(slots=True)
class WriteContext:
    """The audit data of a write in progress; `app.web.middleware.audits` completes the entry `number`.

    One of many small changes at one address has no entry of its own if one of the last hour says so already.
    """

    caller: Caller | None = None
    number: int | None = None
    reason: str | None = None
    revision: int | None = None
    is_one_of_many: bool = False


def write_context(scope: Connection) -> WriteContext:
    """The audit data of this request."""
    found: WriteContext = scope["state"].setdefault("write", WriteContext())
    return found


async def in_shop(request: Request, read: Callable[[Database], T]) -> T:
    """Read the shop database: directly on SQLite, in a thread on PostgreSQL."""
    shop = request.app.state.shop
    return read(shop) if shop.is_sqlite else await asyncio.to_thread(read, shop)


async def found_out(request: Request, ask: Callable[[Database], Caller | None]) -> Caller | Refusal | None:
    """The caller of a request, or the refusal, to be stored for the rest of the request."""
    try:
        return await in_shop(request, ask)
    except Refusal as refusal:
        return refusal


async def caller_of(request: Request) -> Caller | None:
    """The caller of a request by its key or, for reads, by the session of a signed-in browser; None if neither.

    Looked up once per request. Raises Unauthorised for an invalid key.
    """
    state = request.scope["state"]
    authorization: str | None = state.get("authorization") or request.headers.get("authorization")
    if authorization is None:
        return signed_in(request.scope) if request.method in LOOKING else None
    state["caller_read"] = True
    found: Caller | Refusal | None = state.get("caller")
    if found is None:
        found = await found_out(request, lambda shop: keys.caller(shop, authorization))
        state["caller"] = found
        if authorization and isinstance(found, Unauthorised) and request.method in LOOKING:
            await _note_failed_key(request)  # those of writes are entered by the audit's middleware
    if isinstance(found, Refusal):
        raise found
    return found


async def _note_failed_key(request: Request) -> None:
    app, state = request.app.state, request.scope["state"]
    try:
        await asyncio.to_thread(
            app.failed_keys.enter,
            app.shop,
            method=request.method,
            path=request.url.path,
            request_id=state.get("request_id"),
        )
    except Refusal as refusal:
        app.logger.error("audit", request_id=state.get("request_id"), status=401, refused=refusal.detail)


def caller_was_read(scope: Connection) -> bool:
    """Whether the answer may depend on the key that was sent, so that it must not be shared."""
    return bool(scope["state"].get("caller_read"))


async def key_id(scope: Connection) -> str | None:
    """The id of the key whose rate a request counts against; None without a valid key. Guessed keys count against
    the client address."""
    if scope["app"].state.shop is None:
        return None
    try:
        caller = await caller_of(Request(scope)) or signed_in(scope)
    except Refusal:
        return None
    return None if caller is None else caller.id


def signed_in(scope: Connection) -> Caller | None:
    """The caller that the browser is signed in as. Raises Unavailable if the session could not be looked up."""
    found: Caller | Refusal | None = scope.get("state", {}).get("signed_in")
    if isinstance(found, Refusal):
        raise found
    return found


async def admitted(request: Request, scope: KeyScope) -> Caller:
    """The caller of a read that needs a key. Raises Unauthorised, Forbidden."""
    caller = await caller_of(request)
    if caller is None:
        raise Unauthorised(NO_KEY)
    caller.require(scope)
    return caller


async def permitted(request: Request, scope: KeyScope, *, one_of_many: bool = False) -> Caller:
    """The caller of a write, checked before the body is read; also starts its audit entry, or for one of many small
    changes at one address one entry an hour.

    Raises Unauthorised, Forbidden, and Unavailable or NoRoom if the audit cannot be written.
    """
    return await _begun(request, await caller_of(request), scope, one_of_many)


async def permitted_by_form(request: Request, scope: KeyScope, *, one_of_many: bool = False) -> Caller:
    """Like `permitted`, for a form that a signed-in browser sent from our pages. Raises SentFromElsewhere too."""
    refuse_from_elsewhere(request)
    return await _begun(request, signed_in(request.scope), scope, one_of_many)


async def _begun(request: Request, caller: Caller | None, scope: KeyScope, one_of_many: bool) -> Caller:
    if caller is None:
        raise Unauthorised(NO_KEY)
    write = write_context(request.scope)
    write.caller = caller
    caller.require(scope)
    path = request.url.path
    if one_of_many and await in_shop(request, lambda shop: audit.done_lately(shop, caller, path)):
        write.is_one_of_many = True
    else:
        await entered(request, caller)
    return caller


async def entered(request: Request, caller: Caller) -> None:
    """Start the audit entry of a write, before the write itself."""
    write_context(request.scope).number = await asyncio.to_thread(
        audit.begun,
        request.app.state.shop,
        caller,
        method=request.method,
        path=request.url.path,
        request_id=request.scope["state"].get("request_id"),
    )


def refuse_from_elsewhere(request: Request) -> None:
    """Raise SentFromElsewhere unless a form certainly comes from a page of this address.

    Browsers state the origin of a form in `Sec-Fetch-Site` (Fetch Metadata Request Headers, 2.4), older ones in
    `Origin` (RFC 6454, 7); no page can forge either. `Origin: null` states nothing.
    """
    site, origin = request.headers.getlist("sec-fetch-site"), request.headers.getlist("origin")
    ours = f"{request.url.scheme}://{request.headers.get('host', '')}".lower()
    same = [value.lower() == ours for value in origin if value != "null" or not site]
    if site not in ([], ["same-origin"]) or not all(same) or not (site or same):
        raise SentFromElsewhere(
            "This form was not sent from a page of this service. If a proxy terminates https, list it in "
            "LEGWORK_TRUSTED_PROXIES."
        )


async def to_its_end(write: Callable[[], T]) -> T:
    """Run a write in a thread and wait for its end even if the request is cancelled: a thread cannot be stopped, so
    the answer reports what became of the write."""
    running = asyncio.ensure_future(asyncio.to_thread(write))
    while True:
        try:
            return await asyncio.shield(running)
        except asyncio.CancelledError:
            if running.done():
                raise
