"""Cursors of lists: opaque URL-safe text with the revision, its lineage, a digest of the question and the last entry.

A cursor is not a secret and grants nothing. A checksum detects a damaged or made-up cursor, the digest one that
belongs to another list.
"""

import binascii
import hashlib
import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Mapping
from typing import Annotated, Any, NamedTuple

from pydantic import Field

from app.errors import Fault, Malformed

LONGEST = 1000
NextCursor = Annotated[str, Field(description="The cursor in `next`, for a program that builds its own addresses.")]
_CHECKSUM = 6  # bytes


class Cursor(NamedTuple):
    """The revision of a list, its total number of rows, and the key (texts, numbers) after which it continues.

    A list of the shop database has no lineage.
    """

    revision: int
    total: int
    place: tuple[str | int | float, ...]
    lineage: str = ""


def written(cursor: Cursor, question: Mapping[str, object]) -> str:
    """The cursor as text; `question` is everything that defines the list except the page size."""
    content = json.dumps([_digest(question), *cursor], ensure_ascii=False, separators=(",", ":")).encode()
    return urlsafe_b64encode(_checksum(content) + content).decode().rstrip("=")


def read(text: str, question: Mapping[str, Any], place: tuple[type, ...]) -> Cursor:
    """The cursor in a text, whose key has these types. Raises Malformed if it is damaged or of another list."""
    try:
        sent = text.encode("ascii")
        raw = urlsafe_b64decode(sent + b"=" * (-len(sent) % 4))
        if urlsafe_b64encode(raw).rstrip(b"=") != sent or _checksum(raw[_CHECKSUM:]) != raw[:_CHECKSUM]:
            raise ValueError
        digest, revision, total, found, lineage = json.loads(raw[_CHECKSUM:])
    except (ValueError, TypeError, binascii.Error, RecursionError):
        raise _refused("cursor-unreadable", "This cursor is not valid. Copy it unchanged from `next`.") from None
    fits = isinstance(found, list) and len(found) == len(place) and all(map(isinstance, found, place))
    if (
        digest != _digest(question)
        or not fits
        or type(revision) is not int
        or type(total) is not int
        or type(lineage) is not str
    ):
        raise _refused(
            "cursor-of-another-list",
            "This cursor belongs to a list with other filters. Use the same filters, or start without a cursor.",
        )
    return Cursor(revision, total, tuple(found), lineage)


def _refused(code: str, text: str) -> Malformed:
    return Malformed(text, [Fault(code, text, parameter="cursor")])


def _digest(question: Mapping[str, object]) -> str:
    content = json.dumps(sorted(question.items()), ensure_ascii=False, default=str)
    return hashlib.sha256(content.encode()).hexdigest()[:16]


def _checksum(content: bytes) -> bytes:
    return hashlib.sha256(b"legwork cursor " + content).digest()[:_CHECKSUM]
