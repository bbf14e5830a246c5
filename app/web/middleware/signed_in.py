"""Whose session a browser bears, found out once for each request that bears one, before anything is answered."""

import asyncio

from starlette.types import ASGIApp, Receive, Scope, Send

from app.access import sessions
from app.access.keys import Caller
from app.errors import Refusal
from app.web.session_cookie import is_borne, secret_in


class SignedIn:
    """Pure ASGI: `state["signed_in"]` is the caller, or the refusal where the shop database cannot be asked; it is
    absent where nobody is signed in. What it admits to is for `app.web.access` to say."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and is_borne(scope["headers"]):
            shop, secret = scope["app"].state.shop, secret_in(scope)
            if shop is not None and secret is not None:
                found: Caller | Refusal | None
                try:
                    if shop.is_sqlite:
                        found = sessions.caller(shop, secret)
                    else:
                        found = await asyncio.to_thread(sessions.caller, shop, secret)
                except Refusal as refusal:
                    found = refusal
                if found is not None:
                    scope["state"]["signed_in"] = found
        await self.app(scope, receive, send)
