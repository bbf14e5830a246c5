"""Whose session a browser bears, found out once for each request that bears one, before anything is answered."""

from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from app.access import sessions
from app.web.access import found_out
from app.web.session_cookie import has_session_cookie, secret_in


class SignedIn:
    """Pure ASGI: `state["signed_in"]` is the caller, or the refusal where the shop database cannot be asked; it is
    absent where nobody is signed in. What it admits to is for `app.web.access` to say."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and has_session_cookie(scope["headers"]):
            secret = secret_in(scope)
            if scope["app"].state.shop is not None and secret is not None:
                found = await found_out(Request(scope), lambda shop: sessions.caller(shop, secret))
                if found is not None:
                    scope["state"]["signed_in"] = found
        await self.app(scope, receive, send)
