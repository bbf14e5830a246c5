"""Idempotency of writes: the key that the client sends, and a digest of the request."""

import hashlib
import re
from typing import Annotated

from fastapi import Header, Request

from app.access.idempotency import IdempotentRequest
from app.errors import Invalid

_KEY = re.compile(r"[A-Za-z0-9._-]{8,100}")

REPLAYED = {"Idempotent-Replayed": "true"}
"""The header of an answer to a repeated request, which was not carried out again."""

IdempotencyKey = Annotated[
    str | None,
    Header(description="8 to 100 letters, digits, dots or hyphens; the same key again gives the same answer."),
]


def key_of(whose: str, idempotency_key: str | None) -> str | None:
    """The key as stored, separate for each caller; None without one. Raises Invalid."""
    return None if idempotency_key is None else key_of_form(whose, idempotency_key)


def key_of_form(whose: str, idempotency_key: str) -> str:
    """Like `key_of`, for a form, which always has a key. Raises Invalid."""
    if not _KEY.fullmatch(idempotency_key):
        raise Invalid.one("idempotency-key", "An Idempotency-Key has 8 to 100 letters, digits, dots or hyphens.")
    return f"{whose}:{idempotency_key}"


def digest_of(request: Request, body: bytes) -> str:
    """A digest of method, address and body."""
    asked = f"{request.method} {request.url.path}?{request.url.query}\n".encode()
    return hashlib.sha256(asked + body).hexdigest()


async def keyed(request: Request, sender: str, idempotency_key: str | None) -> IdempotentRequest | None:
    """The key of a request that writes to the shop database, with its digest; None without a key. Raises Invalid."""
    key = key_of(sender, idempotency_key)
    return None if key is None else IdempotentRequest(key, digest_of(request, await request.body()))
