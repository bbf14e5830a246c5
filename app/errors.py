"""Exceptions for refused requests. They know neither HTTP nor the database; app.web turns them into problem details."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong with a request.

    `code` is contract and never changes; `text` is a sentence that says how to fix it. `parameter` names a query or
    path parameter, `pointer` (RFC 6901) a place in a body; `suggestion` is the likely correct value or name.
    """

    code: str
    text: str
    parameter: str | None = None
    pointer: str | None = None
    suggestion: str | None = None


class Refusal(Exception):
    """Base of all refusals: a sentence for people, faults for programs, `extra` members of the answer."""

    def __init__(self, detail: str, faults: Sequence[Fault] = (), **extra: Any) -> None:
        super().__init__(detail)
        self.detail = detail
        self.faults = list(faults)
        self.extra = extra


class Invalid(Refusal):
    """The request is well formed but wrong (422)."""

    @classmethod
    def one(cls, code: str, text: str, *, parameter: str | None = None, suggestion: str | None = None) -> "Invalid":
        """A refusal with a single fault, whose text is also the detail."""
        return cls(text, [Fault(code, text, parameter=parameter, suggestion=suggestion)])


class NotFound(Refusal):
    """There is no such row at this revision; `extra["candidates"]` may list similar ones (404)."""


class Gone(Refusal):
    """The row has been withdrawn; `extra["history"]` says when (410)."""


class Malformed(Refusal):
    """The bytes do not match their declared type (400)."""


class Conflict(Refusal):
    """The change contradicts a stored row (409)."""


class Stale(Refusal):
    """The precondition names a version that is no longer current (412)."""


class PreconditionMissing(Refusal):
    """The change needs an If-Match header (428)."""


class TooLarge(Refusal):
    """The body is larger than the published limit (413)."""


class Unauthorised(Refusal):
    """No API key, or one that is not valid (401)."""


class Forbidden(Refusal):
    """A valid key without the scope (403)."""


class SentFromElsewhere(Refusal):
    """A form that was sent from another site (403)."""


class Unavailable(Refusal):
    """The service cannot answer now; retry after `retry_after` seconds (503)."""

    def __init__(self, detail: str, *, retry_after: int = 1, **extra: Any) -> None:
        super().__init__(detail, (), **extra)
        self.retry_after = retry_after


class NoRoom(Refusal):
    """The disk under the database is full; reads still work (507)."""
