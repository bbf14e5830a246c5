"""What a caller may be told when a request is refused; knows neither HTTP nor the database."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong with what was sent.

    `code` is contract and never changes; `text` is a sentence that says how to mend it. `parameter` names a query or
    path parameter, `pointer` (RFC 6901) a place in a body; `suggestion` is the value or name that was probably meant.
    """

    code: str
    text: str
    parameter: str | None = None
    pointer: str | None = None
    suggestion: str | None = None


class Refusal(Exception):
    """Base of all refusals: a sentence for a person, faults for a program, and whatever else the answer carries."""

    def __init__(self, detail: str, faults: Sequence[Fault] = (), **extra: Any) -> None:
        super().__init__(detail)
        self.detail = detail
        self.faults = list(faults)
        self.extra = extra


class Invalid(Refusal):
    """What was asked or sent cannot be meant as it stands (422)."""

    @classmethod
    def one(cls, code: str, text: str, *, parameter: str | None = None, suggestion: str | None = None) -> "Invalid":
        """A refusal for one fault."""
        return cls(text, [Fault(code, text, parameter=parameter, suggestion=suggestion)])


class NotFound(Refusal):
    """No such thing at this revision; `extra["candidates"]` may name near ones (404)."""


class Gone(Refusal):
    """It was there and has been withdrawn; `extra["history"]` says when (410)."""


class Malformed(Refusal):
    """Bytes that are not what their type says they are (400)."""


class Conflict(Refusal):
    """It collides with something that is stored (409)."""


class Stale(Refusal):
    """The precondition names a version that is no longer the present one (412)."""


class PreconditionMissing(Refusal):
    """The change needs a precondition and none was sent (428)."""


class TooLarge(Refusal):
    """More than the published limit (413)."""


class Unauthorised(Refusal):
    """No key, or none that is known (401)."""


class Forbidden(Refusal):
    """A known key without the scope (403)."""


class SentFromElsewhere(Refusal):
    """A form that was not sent from a page of this service (403)."""


class Unavailable(Refusal):
    """Not now; `retry_after` seconds later it may be (503)."""

    def __init__(self, detail: str, *, retry_after: int = 1, **extra: Any) -> None:
        super().__init__(detail, (), **extra)
        self.retry_after = retry_after


class NoRoom(Refusal):
    """The disk under the database is full; reads go on (507)."""
