"""Who may do what: the key of a request, the scopes a route wants, and what is to stand in the audit of a write.

A browser that is signed in may look wherever its key may. It writes by the forms of our own pages only: everything else
that writes takes the key itself, so that another site's page can make a browser do nothing.
"""

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from starlette.requests import Request
from starlette.types import Scope as Connection

from app.access import audit, keys
from app.access.keys import Caller, KeyScope
from app.errors import Refusal, SentFromElsewhere, Unauthorised

T = TypeVar("T")
LOOKING = {"GET", "HEAD"}
NO_KEY = "this takes a key: Authorization: Bearer …"


@dataclass(slots=True)
class WriteContext:
    """What is known of a write while it is answered; `app.web.middleware.audits` completes the entry `number`."""

    caller: Caller | None = None
    number: int | None = None
    reason: str | None = None
    revision: int | None = None


def write_context(scope: Connection) -> WriteContext:
    """What is known of the write that this request is."""
    found: WriteContext = scope["state"].setdefault("write", WriteContext())
    return found


async def in_shop(request: Request, read: Callable[[Any], T]) -> T:
    """A lookup of the shop database, which on SQLite is done where it is asked for."""
    shop = request.app.state.shop
    return read(shop) if shop.is_sqlite else await asyncio.to_thread(read, shop)


async def found_out(request: Request, ask: Callable[[Any], Caller | None]) -> Caller | Refusal | None:
    """Whose a request is, or why that cannot be told, to be kept for as long as it lasts."""
    try:
        return await in_shop(request, ask)
    except Refusal as refusal:
        return refusal


async def caller_of(request: Request) -> Caller | None:
    """The key that came with a request, or, where it only looks, that of a signed-in browser; or None.

    Found out once for each request. Raises Unauthorised for a key that is not in force.
    """
    authorization = request.headers.get("authorization")
    if authorization is None:
        return signed_in(request.scope) if request.method in LOOKING else None
    found: Caller | Refusal | None = request.scope["state"].get("caller")
    if found is None:
        found = await found_out(request, lambda shop: keys.caller(shop, authorization))
        request.scope["state"]["caller"] = found
    if isinstance(found, Refusal):
        raise found
    return found


async def key_id(scope: Connection) -> str | None:
    """The id of the key that a request is counted for, sent with it or signed in with; None for one that is not in
    force, or where that could not be found out: who guesses keys is known by the address."""
    if scope["app"].state.shop is None:
        return None
    try:
        caller = await caller_of(Request(scope)) or signed_in(scope)
    except Refusal:
        return None
    return None if caller is None else caller.id


def signed_in(scope: Connection) -> Caller | None:
    """Whose key the browser is signed in with. Raises Unavailable where that could not be found out."""
    found: Caller | Refusal | None = scope.get("state", {}).get("signed_in")
    if isinstance(found, Refusal):
        raise found
    return found


async def admitted(request: Request, scope: KeyScope) -> Caller:
    """The key of a lookup that takes one. Raises Unauthorised, Forbidden."""
    caller = await caller_of(request)
    if caller is None:
        raise Unauthorised(NO_KEY)
    caller.require(scope)
    return caller


async def permitted(request: Request, scope: KeyScope) -> Caller:
    """The key of a request that may write, asked for before its body is looked at; the write is in the audit then.

    Raises Unauthorised, Forbidden, and Unavailable or NoRoom where the audit cannot be written.
    """
    return await _begun(request, await caller_of(request), scope)


async def permitted_by_form(request: Request, scope: KeyScope) -> Caller:
    """The same for a form that a signed-in browser sent from a page of ours. Raises SentFromElsewhere too."""
    refuse_from_elsewhere(request)
    return await _begun(request, signed_in(request.scope), scope)


async def _begun(request: Request, caller: Caller | None, scope: KeyScope) -> Caller:
    if caller is None:
        raise Unauthorised(NO_KEY)
    write = write_context(request.scope)
    write.caller = caller
    caller.require(scope)
    await entered(request, caller)
    return caller


async def entered(request: Request, caller: Caller) -> None:
    """The write is in the audit before it begins."""
    write_context(request.scope).number = await asyncio.to_thread(
        audit.begun,
        request.app.state.shop,
        caller,
        method=request.method,
        path=request.url.path,
        request_id=request.scope["state"].get("request_id"),
    )


def refuse_from_elsewhere(request: Request) -> None:
    """Raises SentFromElsewhere for a form that does not surely come from a page of this very address.

    A browser says where a form comes from in `Sec-Fetch-Site` (Fetch Metadata Request Headers, 2.4) or, an older one,
    in `Origin` (RFC 6454, 7), and no page can forge either. `Origin: null` says nothing.
    """
    site, origin = request.headers.getlist("sec-fetch-site"), request.headers.getlist("origin")
    ours = f"{request.url.scheme}://{request.headers.get('host', '')}".lower()
    same = [value.lower() == ours for value in origin if value != "null" or not site]
    if site not in ([], ["same-origin"]) or not all(same) or not (site or same):
        raise SentFromElsewhere(
            "This form was not sent from a page of this service. Behind a proxy that speaks https, "
            "LEGWORK_TRUSTED_PROXIES must name it."
        )


async def to_its_end(write: Callable[[], T]) -> T:
    """Run a write in a thread and wait for it, come what may: a thread cannot be stopped, so a request whose time is
    up meanwhile is answered with what became of its write."""
    running = asyncio.ensure_future(asyncio.to_thread(write))
    while True:
        try:
            return await asyncio.shield(running)
        except asyncio.CancelledError:
            if running.done():
                raise
