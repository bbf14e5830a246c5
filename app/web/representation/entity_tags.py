"""Entity tags: computed from the bytes of an answer and compared with a client's (RFC 9110, 8.8.3 and 13.1.2)."""

import hashlib
import re
from base64 import urlsafe_b64encode

from app.catalogue.lineage import Head

_TAG = re.compile(r'(?:W/)?("[^"]*")')
_VERSIONED = re.compile(r'"r([0-9]{1,10})(-[0-9a-f]{16})?\.[^"]*"')


def etag_of(body: bytes) -> str:
    """A strong entity tag: 128 bits of SHA-256."""
    return f'"{urlsafe_b64encode(hashlib.sha256(body).digest()[:16]).decode().rstrip("=")}"'


def versioned(version: int | Head, body: bytes) -> str:
    """An entity tag for one version and its bytes: `"r5.…"` of a fork, `"r5-….…"` of a statement, whose version is the
    revision that it began with, in its history.
    """
    return f'"r{version}.{etag_of(body)[1:]}'


def versions_in(if_match: str) -> set[int]:
    """The versions of a row of the shop database that If-Match names."""
    return {int(number) for number, lineage in _VERSIONED.findall(if_match) if not lineage}


def heads_in(if_match: str) -> set[Head]:
    """The versions of a statement that If-Match names."""
    return {Head(int(number), lineage[1:]) for number, lineage in _VERSIONED.findall(if_match) if lineage}


def matches(if_none_match: str | None, etag: str) -> bool:
    """Whether the client already has this answer: a list of tags, weak or strong, or `*`. `etag` has no weak mark."""
    if if_none_match is None:
        return False
    return if_none_match.strip() == "*" or etag in _TAG.findall(if_none_match)
