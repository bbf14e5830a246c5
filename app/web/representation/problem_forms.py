"""Renders a refusal as a page that keeps what was typed and says how to fix it, or as text; programs get JSON."""

import json
from collections.abc import Callable, Mapping, Sequence

from starlette.responses import Response
from starlette.types import Scope

from app import errors
from app.errors import Fault, Refusal
from app.questions.job.parameters import JOB_WORDS
from app.web.contract.problem_types import PROBLEM_TYPES
from app.web.problem import MEDIA_TYPE, problem_body, slug_of
from app.web.representation.address import Address
from app.web.representation.answer import Answer
from app.web.representation.choose import choose
from app.web.representation.kinds import Representation
from app.web.representation.open_questions import OpenQuestion, chosen, onwards, open_question
from app.web.representation.page import Sources, environment
from app.web.representation.text_lines import problem_text
from app.web.representation.words import sentence, title

Body = Answer


def _json(body: Body, scope: Scope) -> bytes:
    return json.dumps(body, ensure_ascii=False, default=str).encode("utf-8", "replace")


def _page(body: Body, scope: Scope) -> bytes:
    address = Address(scope)
    plain = json.loads(_json(body, scope))
    faults: dict[str, str] = {}
    for fault in plain.get("errors", []):
        if "parameter" in fault and fault["code"] != "undecided":  # what was typed is not wrong
            faults.setdefault(fault["parameter"], fault["text"])
    template = environment().get_template("problem.html")
    return template.render(
        question="problem", answer=plain, address=address, title=plain["title"], sources=Sources({}), way=[], jobs=[],
        units={}, system="published", fields=address.fields(), drawing=None, code=None, faults=faults,
        near=_near(plain, address), choices_of=_choices_of,
    ).encode("utf-8", "replace")  # fmt: skip


def _asking(body: Body, question: OpenQuestion, scope: Scope) -> bytes:
    """The page that asks for one parameter."""
    address = Address(scope)
    plain = json.loads(_json(body, scope))
    kind = address.path.rpartition("/")[2]
    job = JOB_WORDS.get(address.get("job"))  # type: ignore[call-overload]
    name = sentence(job.partition(" ")[2]) if job else title(kind)
    said = f"{name}: {plain['about']}" if "about" in plain else name
    template = environment().get_template("ask.html")
    return template.render(
        question="ask", answer=plain, address=address, title=said, sources=Sources({}), way=[], jobs=[],
        units={}, system="published", fields=(), drawing=None, code=None, faults={}, asked=question,
        chosen=chosen(plain, address),
    ).encode("utf-8", "replace")  # fmt: skip


def _asked_on_page(body: Body, scope: Scope, content_type: str) -> Response | None:
    """A page that asks for a missing parameter, instead of a refusal. None for programs or if a given one is wrong."""
    if not content_type.startswith("text/html") or scope.get("method") not in ("GET", "HEAD"):
        return None
    address = Address(scope)
    question = open_question(json.loads(_json(body, scope)), address)
    if question is None:
        return None
    headers = {"Cache-Control": "no-store", "Vary": "Accept"}
    if (further := onwards(question, address)) is not None:
        return Response(status_code=303, headers={**headers, "Location": further})
    return Response(_asking(body, question, scope), headers={**headers, "Content-Type": content_type})


def _near(body: Body, address: Address) -> list[dict[str, str]]:
    """Rows that may have been meant: the address with each similar id in place of the unknown one."""
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
    """The parameter with the values to choose from, if the refusal lists them."""
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


def _form_of(scope: Scope) -> Representation:
    accept = next((value.decode("latin-1") for name, value in scope.get("headers", ()) if name == b"accept"), None)
    suffix = scope.get("state", {}).get("suffix")
    return choose(_FORMS, suffix=suffix, format_=None, accept=accept) or _FORMS[0]


def _type_of(scope: Scope) -> str:
    form = _form_of(scope)
    return form.media_type if form is _FORMS[0] else form.content_type


def body_of(body: Body, scope: Scope) -> tuple[bytes, str]:
    """The bytes of a refusal and their type: JSON unless the client prefers a page or text."""
    form, content_type = _form_of(scope), _type_of(scope)
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
    """The response to a refused request: JSON, or a page or text if the client prefers that.

    `extra` adds members and cannot replace those of the contract.
    """
    body = problem_body(scope, slug, detail, faults, extra or {})
    if slug == "invalid" and (asking := _asked_on_page(body, scope, _type_of(scope))) is not None:
        return asking
    content, content_type = body_of(body, scope)
    vary = {} if "suffix" in scope.get("state", {}) else {"Vary": "Accept"}
    kept = {"Cache-Control": "no-store", **vary, "Content-Type": content_type, **(headers or {})}
    return Response(content, status_code=PROBLEM_TYPES[slug].status, headers=kept)


def refused(scope: Scope, refusal: Refusal) -> Response:
    """The response to a refusal raised by any layer."""
    headers: dict[str, str] = {}
    if isinstance(refusal, errors.Unavailable):
        headers["Retry-After"] = str(refusal.retry_after)
    if isinstance(refusal, errors.Unauthorised):
        headers["WWW-Authenticate"] = 'Bearer realm="legwork"'
    slug = slug_of(refusal)
    return problem_response(scope, slug, refusal.detail, faults=refusal.faults, headers=headers, extra=refusal.extra)
