"""Entity tags: made from the bytes of an answer, and compared with what a client has (RFC 9110, 8.8.3 and 13.1.2)."""

import hashlib
import re
from base64 import urlsafe_b64encode

_TAG = re.compile(r'(?:W/)?("[^"]*")')


def etag_of(body: bytes) -> str:
    """A strong entity tag: 128 bits of SHA-256."""
    return f'"{urlsafe_b64encode(hashlib.sha256(body).digest()[:16]).decode().rstrip("=")}"'


def versioned(version: int, body: bytes) -> str:
    """An entity tag that names a version and these bytes of it: `"r5.…"`."""
    return f'"r{version}.{etag_of(body)[1:]}'


def matches(if_none_match: str | None, etag: str) -> bool:
    """Whether the client has this already: a list of tags, weak or strong, or `*`. `etag` is without a mark of
    weakness."""
    if if_none_match is None:
        return False
    return if_none_match.strip() == "*" or etag in _TAG.findall(if_none_match)
