"""A refusal as a page that keeps what was typed and says how to mend it, or as text; for programs it stays JSON."""

import json
from collections.abc import Callable, Mapping, Sequence

from starlette.responses import Response
from starlette.types import Scope

from app import errors
from app.errors import Fault, Refusal
from app.web.contract.problem_types import PROBLEM_TYPES
from app.web.problem import MEDIA_TYPE, problem_body, slug_of
from app.web.representation.address import Address
from app.web.representation.answer import Answer
from app.web.representation.choose import choose
from app.web.representation.kinds import Representation
from app.web.representation.page import Sources, environment
from app.web.representation.text_lines import problem_text

Body = Answer


def _json(body: Body, scope: Scope) -> bytes:
    return json.dumps(body, ensure_ascii=False, default=str).encode("utf-8", "replace")


def _page(body: Body, scope: Scope) -> bytes:
    address = Address(scope)
    plain = json.loads(_json(body, scope))
    faults: dict[str, str] = {}
    for fault in plain.get("errors", []):
        if "parameter" in fault and fault["code"] != "undecided":  # that is no fault of what was typed
            faults.setdefault(fault["parameter"], fault["text"])
    template = environment().get_template("problem.html")
    return template.render(
        question="problem", answer=plain, address=address, title=plain["title"], sources=Sources({}), way=[], jobs=[],
        units={}, system="published", fields=address.fields(), drawing=None, code=None, faults=faults,
        near=_near(plain, address), choices_of=_choices_of,
    ).encode("utf-8", "replace")  # fmt: skip


def _near(body: Body, address: Address) -> list[dict[str, str]]:
    """The rows that may have been meant: the address with the id that is not there replaced."""
    found = []
    parts = address.path.split("/")
    for each in body.get("candidates", []):
        if isinstance(each, str) and parts[1] == "problems":
            found.append({"href": f"/problems/{each}", "name": each, "id": ""})
        elif isinstance(each, dict) and "id" in each and len(parts) > 3:
            path = "/".join([*parts[:3], each["id"], *parts[4:]])
            found.append(
                {"href": address.changed_path(path), "name": str(each.get("name", each["id"])), "id": each["id"]}
            )
    return found


def _choices_of(fault: Answer, body: Body) -> list[Answer]:
    """The parameter with the values that would decide, where the refusal names them."""
    undecided = body.get("undecided", [])
    return [each for each in undecided if each.get("parameter") == fault.get("parameter")]


def _text(body: Body, scope: Scope) -> bytes:
    return problem_text(json.loads(_json(body, scope))).encode("utf-8", "replace")


_RENDER: Mapping[str, Callable[[Body, Scope], bytes]] = {
    MEDIA_TYPE: _json,
    "text/html": _page,
    "text/plain": _text,
}
_FORMS = [
    Representation(media_type=media_type, suffix=suffix, render=lambda answered: b"", can=lambda answered: True)
    for media_type, suffix in ((MEDIA_TYPE, "json"), ("text/html", "html"), ("text/plain", "txt"))
]


def body_of(body: Body, scope: Scope) -> tuple[bytes, str]:
    """The bytes of a refusal and their type: JSON unless a page or a text is what the client would rather have."""
    accept = next((value.decode("latin-1") for name, value in scope.get("headers", ()) if name == b"accept"), None)
    suffix = scope.get("state", {}).get("suffix")
    form = choose(_FORMS, suffix=suffix, format_=None, accept=accept) or _FORMS[0]
    content_type = form.media_type if form is _FORMS[0] else form.content_type
    return _RENDER[form.media_type](body, scope), content_type


def problem_response(
    scope: Scope,
    slug: str,
    detail: str,
    *,
    faults: Sequence[Fault] = (),
    headers: Mapping[str, str] | None = None,
    extra: Answer | None = None,
) -> Response:
    """The answer to a refused request, as JSON or, for who would rather have that, as a page or text; `extra` adds
    members, and cannot replace those of the contract."""
    content, content_type = body_of(problem_body(scope, slug, detail, faults, extra or {}), scope)
    kept = {"Cache-Control": "no-store", "Vary": "Accept", "Content-Type": content_type, **(headers or {})}
    return Response(content, status_code=PROBLEM_TYPES[slug].status, headers=kept)


def refused(scope: Scope, refusal: Refusal) -> Response:
    """The answer to a refusal raised by any layer."""
    headers: dict[str, str] = {}
    if isinstance(refusal, errors.Unavailable):
        headers["Retry-After"] = str(refusal.retry_after)
    if isinstance(refusal, errors.Unauthorised):
        headers["WWW-Authenticate"] = 'Bearer realm="legwork"'
    slug = slug_of(refusal)
    return problem_response(scope, slug, refusal.detail, faults=refusal.faults, headers=headers, extra=refusal.extra)
