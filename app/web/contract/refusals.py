"""Derives the problem statuses of an operation, and whether it needs a key, from its address and parameters."""

from collections.abc import Callable

from app.json_types import JsonObject
from app.web.contract.problem_types import PROBLEM_TYPES
from app.web.middleware.closed_reads import ALWAYS_OPEN
from app.web.problem import MEDIA_TYPE

RefusalsDocument = JsonObject

LOOKUPS_BY_POST = {"batch", "jobCards", "checkChanges"}
"""These use POST only because the question does not fit into an address. They write nothing and need no key."""

_NEVER_WITHDRAWN = ("/problems/", "/v1/rules/", "/v1/standards/", "/v1/revisions/", "/v1/forks/", "/v1/flags/",
                    "/v1/work-orders/", "/v1/tables/", "/v1/drafts/")  # fmt: skip
_ONE_FORM = ("/healthz", "/readyz", "/v1/export", "/v1/export.sqlite")
_OTHERS = {
    "4XX": "Refused for its method, size, headers or rate; possible for any request.",
    "5XX": "A failure of the service or of its database.",
}


def writes(method: str, operation: RefusalsDocument) -> bool:
    """Whether the operation changes stored data."""
    return method != "get" and operation["operationId"] not in LOOKUPS_BY_POST


def takes_a_key(method: str, operation: RefusalsDocument) -> bool:
    """Whether the operation needs a key: writes do, and everything in the bench log and in drafts."""
    return writes(method, operation) or operation.get("tags") in (["bench log"], ["drafts"])


def security_of(path: str, method: str, operation: RefusalsDocument) -> list[RefusalsDocument]:
    """No key, a key, or either: lookups need a key only if the operator closed them."""
    if path.startswith(ALWAYS_OPEN):
        return []
    return [{"key": []}] if takes_a_key(method, operation) else [{}, {"key": []}]


def refusals_of(path: str, method: str, operation: RefusalsDocument) -> list[int]:
    """The statuses of the operation's problems, in order."""
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
            found.discard(410)  # it reopens withdrawn rows
    return sorted(found)


def problem_responses(example: Callable[[str], RefusalsDocument | None], used: set[str]) -> RefusalsDocument:
    """The response components: one per problem status, with an example if there is one, and 304."""
    statuses: dict[str, str] = {}
    for kind in PROBLEM_TYPES.values():
        before = statuses.get(str(kind.status))
        statuses[str(kind.status)] = f"{before} / {kind.title}" if before else kind.title
    found: RefusalsDocument = {"NotModified": {"description": "Your copy is still valid."}}
    for status, description in {**statuses, **_OTHERS}.items():
        if status not in used:
            continue
        content: RefusalsDocument = {"schema": {"$ref": "#/components/schemas/Problem"}}
        if (shown := example(status)) is not None:
            content["examples"] = {"demo": {"summary": shown["title"], "value": shown}}
        found[f"Problem{status}"] = {"description": description, "content": {MEDIA_TYPE: content}}
    return found
