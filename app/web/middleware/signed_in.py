"""Looks up the session of a signed-in browser once per request, before anything else answers."""

import asyncio
from contextlib import suppress

from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from app.access import sessions
from app.access.keys import Caller
from app.errors import Refusal
from app.web.access import found_out
from app.web.session_cookie import has_session_cookie, secret_in


class SignedIn:
    """ASGI app: `state["signed_in"]` is the caller, or the refusal if the shop database cannot be read; it is absent if
    nobody is signed in. `app.web.access` decides what the caller may do.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and has_session_cookie(scope["headers"]):
            secret = secret_in(scope)
            if scope["app"].state.shop is not None and secret is not None:
                found = await found_out(Request(scope), lambda shop: sessions.caller(shop, secret))
                if found is not None:
                    scope["state"]["signed_in"] = found
                if isinstance(found, Caller):
                    with suppress(Refusal):  # a database that takes no writes now signs nobody out before its time
                        await asyncio.to_thread(sessions.note_use, scope["app"].state.shop, secret)
        await self.app(scope, receive, send)
