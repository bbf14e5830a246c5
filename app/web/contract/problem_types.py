"""Every problem type, by slug: the one list behind the `type` links, their pages and the statuses."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ProblemType:
    """One kind of problem. `slug` is part of the contract; `title` is always the same (RFC 9457, 3.1.3)."""

    slug: str
    status: int
    title: str
    explanation: str

    @property
    def link(self) -> str:
        """The address of the page about this problem type."""
        return f"/problems/{self.slug}"


_TYPES = (
    ProblemType(
        "malformed",
        400,
        "Malformed request",
        "The body, query or cursor cannot be parsed: broken JSON, a duplicate key, an encoding other than UTF-8, or a "
        "cursor that was changed. Correct it and send it again.",
    ),
    ProblemType(
        "host-unknown",
        400,
        "Unknown host",
        "The Host header is not one that this service answers for. Add it to LEGWORK_ALLOWED_HOSTS.",
    ),
    ProblemType(
        "key-missing",
        401,
        "API key required",
        "No API key was sent, or the key is not valid. Send `Authorization: Bearer …`; "
        "a key in the address is ignored.",
    ),
    ProblemType(
        "forbidden", 403, "Key not permitted", "The key is valid, but it lacks the scope that this request needs."
    ),
    ProblemType(
        "sent-from-elsewhere",
        403,
        "Form sent from another site",
        "Forms are accepted only from pages of this service (the browser says so in Sec-Fetch-Site or Origin).",
    ),
    ProblemType(
        "not-found",
        404,
        "Not found",
        "There is nothing at that address, or no row with that id at this revision. `candidates` lists similar ids.",
    ),
    ProblemType(
        "method-not-allowed",
        405,
        "Method not allowed",
        "The address exists but does not accept this method; the Allow header lists those it does.",
    ),
    ProblemType(
        "not-acceptable",
        406,
        "Format not available",
        "The answer does not exist in a format you accept. `available` lists the formats it has.",
    ),
    ProblemType(
        "too-slow",
        408,
        "Request timed out",
        "The request was not complete in time, so the connection was closed. Send it again.",
    ),
    ProblemType(
        "conflict",
        409,
        "Conflict with stored data",
        "The change contradicts a stored row; `errors` or `report` names it.",
    ),
    ProblemType(
        "gone",
        410,
        "Withdrawn",
        "The row was withdrawn; `history` says when. Add `revision=` to see it as it was.",
    ),
    ProblemType(
        "stale",
        412,
        "Changed in the meantime",
        "Someone changed it after you read it: If-Match names an older version. Read it again, then repeat the change.",
    ),
    ProblemType("too-large", 413, "Body too large", "The body is larger than the published limit. Split it."),
    ProblemType("url-too-long", 414, "Address too long", "Path and query together are longer than the limit."),
    ProblemType(
        "media-type",
        415,
        "Unsupported media type",
        "This address accepts other media types (Accept-Post lists them), and never a compressed body.",
    ),
    ProblemType(
        "invalid",
        422,
        "Invalid request",
        "Part of the request is wrong; `errors` names each fault and how to fix it.",
    ),
    ProblemType(
        "precondition-missing",
        428,
        "If-Match required",
        "A change to a stored row needs an If-Match header with the ETag of the version it changes.",
    ),
    ProblemType(
        "too-many",
        429,
        "Too many requests",
        "You sent more requests than the published rate allows. Retry-After says how long to wait.",
    ),
    ProblemType(
        "header-too-large", 431, "Headers too large", "There are too many header lines, or they are too long together."
    ),
    ProblemType(
        "fault",
        500,
        "Internal error",
        "The service failed. The log has the details under `request_id`; quote it when you report the fault.",
    ),
    ProblemType(
        "not-implemented",
        501,
        "Unsupported transfer coding",
        "A body may be sent in chunks (`Transfer-Encoding: chunked`), with no other coding.",
    ),
    ProblemType(
        "unavailable",
        503,
        "Temporarily unavailable",
        "The service cannot answer now. Retry-After says when to try again.",
    ),
    ProblemType(
        "no-room", 507, "Disk full", "Nothing can be stored until the operator makes room; look-ups still work."
    ),
)

PROBLEM_TYPES: dict[str, ProblemType] = {kind.slug: kind for kind in _TYPES}
"""By slug, in order of status."""
