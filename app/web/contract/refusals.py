"""Which refusals an operation answers with, and what it takes a key for: derived from its address and what it takes."""

from collections.abc import Callable
from typing import Any

from app.web.contract.problem_types import PROBLEM_TYPES
from app.web.middleware.closed_reads import ALWAYS_OPEN
from app.web.problem import MEDIA_TYPE

RefusalsDocument = dict[str, Any]

LOOKUPS_BY_POST = {"batch", "jobCards", "checkChanges"}
"""POST only because what is asked does not fit into an address; they write nothing and take no key."""

_NEVER_WITHDRAWN = ("/problems/", "/v1/rules/", "/v1/standards/", "/v1/revisions/", "/v1/forks/", "/v1/flags/")
_ONE_FORM = ("/healthz", "/readyz", "/v1/export", "/v1/export.sqlite")
_OTHERS = {
    "4XX": "Refused for a reason any request may meet: its method, size, header or pace.",
    "5XX": "A fault of ours, or of what this service stands on.",
}


def writes(method: str, operation: RefusalsDocument) -> bool:
    """Whether it changes what is stored."""
    return method != "get" and operation["operationId"] not in LOOKUPS_BY_POST


def takes_a_key(method: str, operation: RefusalsDocument) -> bool:
    """Whether it is refused without one; the log of a workshop is read with one only."""
    return writes(method, operation) or operation.get("tags") == ["bench log"]


def security_of(path: str, method: str, operation: RefusalsDocument) -> list[RefusalsDocument]:
    """Nothing, a key, or either: lookups take a key only where the operator closed them."""
    if path.startswith(ALWAYS_OPEN):
        return []
    return [{"key": []}] if takes_a_key(method, operation) else [{}, {"key": []}]


def refusals_of(path: str, method: str, operation: RefusalsDocument) -> list[int]:
    """The statuses of its own refusals, in order."""
    found = {400, 422}
    names = {parameter["name"] for parameter in operation.get("parameters", [])}
    if not path.startswith(ALWAYS_OPEN):
        found |= {401, 503}
    if path == "/readyz":
        found.add(503)
    if path.startswith("/v1/"):
        found.add(429)
    if path not in _ONE_FORM:
        found.add(406)
    if "{" in path:
        found.add(404)
        if not path.startswith(_NEVER_WITHDRAWN) and not path.endswith("/history"):
            found.add(410)
    if "requestBody" in operation:
        found |= {413, 415}
    if takes_a_key(method, operation) or "fork" in names:
        found.add(403)
    if writes(method, operation):
        found.add(507)
        if "requestBody" in operation or "If-Match" in names:
            found.add(409)
        if "If-Match" in names:
            found |= {412, 428}
        if method == "put":
            found.discard(410)  # it brings back what was withdrawn
    return sorted(found)


def problem_responses(example: Callable[[str], RefusalsDocument | None], used: set[str]) -> RefusalsDocument:
    """The components: one response per status in use, with an example where there is one, and what is not modified."""
    statuses: dict[str, str] = {}
    for kind in PROBLEM_TYPES.values():
        before = statuses.get(str(kind.status))
        statuses[str(kind.status)] = f"{before} / {kind.title}" if before else kind.title
    found: RefusalsDocument = {"NotModified": {"description": "What the client has still holds."}}
    for status, description in {**statuses, **_OTHERS}.items():
        if status not in used:
            continue
        content: RefusalsDocument = {"schema": {"$ref": "#/components/schemas/Problem"}}
        if (shown := example(status)) is not None:
            content["examples"] = {"demo": {"summary": shown["title"], "value": shown}}
        found[f"Problem{status}"] = {"description": description, "content": {MEDIA_TYPE: content}}
    return found
