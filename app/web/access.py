"""Who may do what: the key of a request, the scopes a route wants, and what is to stand in the audit of a write."""

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from starlette.requests import Request
from starlette.types import Scope as Connection

from app.access import audit, keys
from app.access.keys import Caller, Scope
from app.errors import Unauthorised

T = TypeVar("T")


@dataclass(slots=True)
class Noted:
    """What is known of a write while it is answered; `app.web.middleware.audits` completes the entry `number`."""

    caller: Caller | None = None
    number: int | None = None
    reason: str | None = None
    revision: int | None = None


def noted(scope: Connection) -> Noted:
    """What is known of the write that this request is."""
    found: Noted = scope["state"].setdefault("write", Noted())
    return found


async def caller_of(request: Request) -> Caller | None:
    """The key that came with a request, or None. Raises Unauthorised for one that is not in force."""
    authorization = request.headers.get("authorization")
    if authorization is None:
        return None
    shop = request.app.state.shop
    if shop.is_sqlite:
        return keys.caller(shop, authorization)
    return await asyncio.to_thread(keys.caller, shop, authorization)


async def admitted(request: Request, scope: Scope) -> Caller:
    """The key of a lookup that takes one. Raises Unauthorised, Forbidden."""
    caller = await caller_of(request)
    if caller is None:
        raise Unauthorised("this takes a key: Authorization: Bearer …")
    caller.require(scope)
    return caller


async def permitted(request: Request, scope: Scope) -> Caller:
    """The key of a request that may write, asked for before its body is looked at; the write is in the audit then.

    Raises Unauthorised, Forbidden, and Unavailable or NoRoom where the audit cannot be written.
    """
    caller = await caller_of(request)
    if caller is None:
        raise Unauthorised("this takes a key: Authorization: Bearer …")
    write = noted(request.scope)
    write.caller = caller
    caller.require(scope)
    write.number = await asyncio.to_thread(
        audit.begun,
        request.app.state.shop,
        caller,
        method=request.method,
        path=request.url.path,
        request_id=request.scope["state"].get("request_id"),
    )
    return caller


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
