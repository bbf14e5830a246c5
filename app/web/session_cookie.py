"""The session cookie: read, set and clear it.

Over https its name begins with `__Host-`, so that no other host or path can set one (RFC 6265bis, 4.1.3.2).
"""

import re
from collections.abc import Sequence

from starlette.responses import Response
from starlette.types import Scope

from app.access.sessions import LASTS, LETTERS

NAME = b"legwork-session"
_SECRET = re.compile(rf"[A-Za-z0-9_-]{{{LETTERS}}}")

HeaderLines = Sequence[tuple[bytes, bytes]]


def has_session_cookie(lines: HeaderLines) -> bool:
    """Whether the request may have a session; such requests are not answered from the shared cache."""
    return any(name == b"cookie" and NAME in value for name, value in lines)


def secret_in(scope: Scope) -> str | None:
    """The session secret of a request; None if there is none, or two (one of them is not ours)."""
    wanted = _name(scope)
    pairs = [
        pair.strip().partition("=")
        for name, value in scope["headers"]
        if name == b"cookie"
        for pair in value.decode("latin-1").split(";")
    ]
    found = [value for name, _, value in pairs if name == wanted]
    return found[0] if len(found) == 1 and _SECRET.fullmatch(found[0]) else None


def give(response: Response, scope: Scope, secret: str) -> None:
    """Set the cookie: for this host only, hidden from scripts, never sent from another site's page."""
    response.set_cookie(
        _name(scope), secret, max_age=int(LASTS.total_seconds()), path="/", httponly=True, samesite="strict",
        secure=scope["scheme"] == "https",
    )  # fmt: skip


def take_away(response: Response, scope: Scope) -> None:
    """Clear the cookie."""
    secure = scope["scheme"] == "https"
    response.delete_cookie(_name(scope), path="/", httponly=True, samesite="strict", secure=secure)


def _name(scope: Scope) -> str:
    return f"__Host-{NAME.decode()}" if scope["scheme"] == "https" else NAME.decode()
