"""Renders a refusal as a page that keeps what was typed and says how to fix it, or as text; programs get JSON."""

import json
from collections.abc import Mapping, Sequence

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
from app.web.representation.page import rendered
from app.web.representation.text_lines import problem_text
from app.web.representation.words import sentence, title

Body = Answer


def _json(body: Body) -> bytes:
    return json.dumps(body, ensure_ascii=False, default=str).encode("utf-8", "replace")


def _page(plain: Answer, scope: Scope) -> str:
    address = Address(scope)
    faults: dict[str, str] = {}
    for fault in plain.get("errors", []):
        if "parameter" in fault and fault["code"] != "undecided":  # what was typed is not wrong
            faults.setdefault(fault["parameter"], fault["text"])
    return rendered(
        "problem", plain, address, title=plain["title"], fields=address.fields(), faults=faults,
        near=_near(plain, address), choices_of=_choices_of,
    )  # fmt: skip


def _asking(plain: Answer, question: OpenQuestion, address: Address) -> str:
    """The page that asks for one parameter."""
    kind = address.path.rpartition("/")[2]
    job = JOB_WORDS.get(address.get("job"))  # type: ignore[call-overload]
    name = sentence(job.partition(" ")[2]) if job else title(kind)
    said = f"{name}: {plain['about']}" if "about" in plain else name
    return rendered("ask", plain, address, title=said, asked=question, chosen=chosen(plain, address))


def _asked_on_page(plain: Answer, scope: Scope, content_type: str) -> Response | None:
    """A page that asks for a missing parameter, instead of a refusal. None if a given one is wrong."""
    address = Address(scope)
    question = open_question(plain, address)
    if question is None:
        return None
    headers = {"Cache-Control": "no-store", "Vary": "Accept"}
    if (further := onwards(question, address)) is not None:
        return Response(status_code=303, headers={**headers, "Location": further})
    body = _asking(plain, question, address).encode("utf-8", "replace")
    return Response(body, headers={**headers, "Content-Type": content_type})


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


_FORMS = [
    Representation(
        media_type=media_type, suffix=suffix, render=lambda answered: b"", can=lambda answered: True,
        charset=suffix != "json",
    )
    for media_type, suffix in ((MEDIA_TYPE, "json"), ("text/html", "html"), ("text/plain", "txt"))
]  # fmt: skip


def _form_of(scope: Scope) -> Representation:
    """The format that the client prefers; JSON if it prefers none."""
    accept = next((value.decode("latin-1") for name, value in scope.get("headers", ()) if name == b"accept"), None)
    suffix = scope.get("state", {}).get("suffix")
    return choose(_FORMS, suffix=suffix, format_=None, accept=accept) or _FORMS[0]


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
    content = _json(problem_body(scope, slug, detail, faults, extra or {}))
    form = _form_of(scope)
    if form.suffix != "json":
        plain = json.loads(content)
        if form.suffix == "html" and slug == "invalid" and scope.get("method") in ("GET", "HEAD"):
            asking = _asked_on_page(plain, scope, form.content_type)
            if asking is not None:
                return asking
        text = _page(plain, scope) if form.suffix == "html" else problem_text(plain)
        content = text.encode("utf-8", "replace")
    vary = {} if "suffix" in scope.get("state", {}) else {"Vary": "Accept"}
    kept = {"Cache-Control": "no-store", **vary, "Content-Type": form.content_type, **(headers or {})}
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
