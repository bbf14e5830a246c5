"""Who may do what: the key of a request, the scopes a route wants, and the audit of every write, done or refused."""

import asyncio
from collections.abc import Awaitable, Callable
from typing import TypeVar

from starlette.requests import Request

from app.access import audit, keys
from app.access.keys import Caller, Scope
from app.errors import Refusal, Unauthorised
from app.web.problem import status_of

T = TypeVar("T")


async def caller_of(request: Request) -> Caller | None:
    """The key that came with a request, or None. Raises Unauthorised for one that is not in force."""
    authorization = request.headers.get("authorization")
    if authorization is None:
        return None
    shop = request.app.state.shop
    if shop.is_sqlite:
        return keys.caller(shop, authorization)
    return await asyncio.to_thread(keys.caller, shop, authorization)


async def permitted(request: Request, scope: Scope) -> Caller:
    """The key of a request that may write, asked for before its body is looked at.

    Raises Unauthorised or Forbidden; the refused write stands in the audit.
    """
    caller: Caller | None = None
    try:
        caller = await caller_of(request)
        if caller is None:
            raise Unauthorised("this takes a key: Authorization: Bearer …")
        caller.require(scope)
    except Refusal as refusal:
        await _audited(request, caller, status_of(refusal), None, None)
        raise
    return caller


async def audited(
    request: Request, caller: Caller, work: Awaitable[T], *, reason: str | None, revision_of: Callable[[T], int | None]
) -> T:
    """Do a write and put it into the audit, whatever comes of it."""
    try:
        done = await work
    except Refusal as refusal:
        await _audited(request, caller, status_of(refusal), reason, None)
        raise
    await _audited(request, caller, 200, reason, revision_of(done))
    return done


async def _audited(
    request: Request, caller: Caller | None, status: int, reason: str | None, revision: int | None
) -> None:
    def entry() -> None:
        audit.record(
            request.app.state.shop,
            caller,
            method=request.method,
            path=request.url.path,
            status=status,
            request_id=request.scope["state"].get("request_id"),
            reason=reason,
            revision=revision,
        )

    await asyncio.to_thread(entry)
