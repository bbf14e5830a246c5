"""The kinds of refusal that exist, by slug: the one list from which `type` links, their pages and the statuses come."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ProblemType:
    """One kind of refusal: `slug` is contract, `title` never varies between occurrences (RFC 9457, 3.1.3)."""

    slug: str
    status: int
    title: str
    explanation: str

    @property
    def link(self) -> str:
        """The address of the page about the type."""
        return f"/problems/{self.slug}"


_TYPES = (
    ProblemType(
        "malformed",
        400,
        "The request cannot be read",
        "The bytes are not what their type says: broken JSON, a key twice, another encoding than UTF-8, or a cursor "
        "that was altered. Send it anew, well formed.",
    ),
    ProblemType(
        "host-unknown",
        400,
        "This host is not served here",
        "The Host header names none of the hosts this service answers for. LEGWORK_ALLOWED_HOSTS lists them.",
    ),
    ProblemType(
        "key-missing",
        401,
        "A key is needed",
        "No key was sent, or none that is known. Send `Authorization: Bearer …`; a key in the address is never read.",
    ),
    ProblemType(
        "forbidden", 403, "This key may not do that", "The key is known, but its scopes do not cover what was asked."
    ),
    ProblemType(
        "sent-from-elsewhere",
        403,
        "The form was not sent from here",
        "A form is taken from a page of this service only, as the browser says in Sec-Fetch-Site or Origin.",
    ),
    ProblemType(
        "not-found",
        404,
        "There is no such thing",
        "Nothing answers to that address or id at this revision. `candidates`, where present, are near ones.",
    ),
    ProblemType(
        "method-not-allowed",
        405,
        "Not with this method",
        "The address exists, but takes other methods: the Allow header lists them.",
    ),
    ProblemType(
        "not-acceptable",
        406,
        "Not in this representation",
        "The answer cannot be given in a form that was asked for. `available` lists the forms there are.",
    ),
    ProblemType(
        "too-slow",
        408,
        "The request came too slowly",
        "The request was not complete in time, and the connection was closed. Send it anew.",
    ),
    ProblemType(
        "conflict",
        409,
        "It collides with what is stored",
        "What was sent contradicts something stored; `errors` or `report` names it.",
    ),
    ProblemType(
        "gone",
        410,
        "It has been withdrawn",
        "It was there and no longer holds; `history` says since when. Ask with `revision=` for what held then.",
    ),
    ProblemType(
        "stale",
        412,
        "Changed in the meantime",
        "If-Match names a version that is no longer the present one. Read it again, then repeat the change.",
    ),
    ProblemType("too-large", 413, "The body is too large", "The body is over the published limit. Split it."),
    ProblemType("url-too-long", 414, "The address is too long", "Path and query together are over the limit."),
    ProblemType(
        "media-type",
        415,
        "The body is of another type",
        "This address takes other media types (Accept-Post lists them), and never a compressed body.",
    ),
    ProblemType(
        "invalid",
        422,
        "It cannot be meant as it stands",
        "Something that was asked or sent is wrong; `errors` names each fault and how to mend it.",
    ),
    ProblemType(
        "precondition-missing",
        428,
        "If-Match is missing",
        "A change to something stored needs If-Match with the ETag of the version it changes.",
    ),
    ProblemType(
        "too-many",
        429,
        "Too many requests",
        "More requests than the published rate. Retry-After says when to come back.",
    ),
    ProblemType(
        "header-too-large", 431, "The header is too large", "The header lines are too many or too long together."
    ),
    ProblemType(
        "fault",
        500,
        "A fault of ours",
        "Something failed on this side. It is in the log under `request_id`; quote it when reporting.",
    ),
    ProblemType(
        "unavailable", 503, "Not now", "It cannot be answered at the moment. Retry-After says when to try again."
    ),
    ProblemType(
        "no-room", 507, "The disk is full", "Nothing can be stored until the operator makes room; lookups go on."
    ),
)

PROBLEM_TYPES: dict[str, ProblemType] = {kind.slug: kind for kind in _TYPES}
"""By slug, in order of status."""
