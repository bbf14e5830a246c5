"""From an answer to a response: the form, its ETag, how long it may be kept, and 304 where nothing changed."""

import hashlib
import re
from base64 import urlsafe_b64encode
from collections.abc import Mapping

from starlette.requests import Request
from starlette.responses import Response

from app.web.representation import csv_table
from app.web.representation.answer import Answer
from app.web.representation.choose import choose
from app.web.representation.kinds import Answered, Representation, Shape, available, register
from app.web.representation.problem_forms import problem_response
from app.web.session_cookie import has_session_cookie

PINNED_SECONDS = 86_400
_TAG = re.compile(r'(?:W/)?("[^"]*")')

register(
    Representation(
        media_type="text/csv", suffix="csv", render=csv_table.render, can=lambda answered: answered.rows is not None
    )
)


async def respond(
    request: Request,
    answer: Answer,
    shape: Shape,
    *,
    question: str,
    rows: str | None = None,
    status: int = 200,
    headers: Mapping[str, str] | None = None,
    version: int | None = None,
) -> Response:
    """`answer` in the form that was asked for, or 406 with the forms there are.

    `question` names what was asked, `rows` the member that is the list (then there is a CSV form). `version` is the
    revision from which what is answered holds: it stands in the ETag, so that If-Match names a version in any form.
    ETag is a strong hash of the body before compression; If-None-Match compares weakly (RFC 9110, 13.1.2).
    """
    state = request.scope["state"]
    state["suffix_taken"] = True
    answered = Answered(question, answer, shape, rows, request)
    forms = available(answered)
    form = choose(
        forms,
        suffix=state.get("suffix"),
        format_=request.query_params.get("format"),
        accept=request.headers.get("accept"),
    )
    if form is None:
        there = {"available": [{"media_type": form.media_type, "suffix": form.suffix} for form in forms]}
        return problem_response(
            request.scope, "not-acceptable", "The answer has none of the forms asked for.", extra=there
        )
    if form.complete is not None:
        answered = await form.complete(answered)
    body = form.render(answered)
    etag = etag_of(body) if version is None else versioned(version, body)
    vary = "Accept, Cookie"  # of all forms alike: a cache keeps one for an address
    kept = {"ETag": etag, "Vary": vary, "Cache-Control": kept_for(request), **(headers or {})}
    if status == 200 and request.method == "GET" and matches(request.headers.get("if-none-match"), etag):
        return Response(status_code=304, headers=kept)
    return Response(body, status_code=status, headers={"Content-Type": form.content_type, **kept})


def etag_of(body: bytes) -> str:
    """A strong entity tag: 128 bits of SHA-256."""
    return f'"{urlsafe_b64encode(hashlib.sha256(body).digest()[:16]).decode().rstrip("=")}"'


def versioned(version: int, body: bytes) -> str:
    """An entity tag that names a version and these bytes of it: `"r5.…"`."""
    return f'"r{version}.{etag_of(body)[1:]}'


def matches(if_none_match: str | None, etag: str) -> bool:
    """Whether the client has this already: a list of tags, weak or strong, or `*`."""
    if if_none_match is None:
        return False
    return if_none_match.strip() == "*" or etag in _TAG.findall(if_none_match)


def kept_for(request: Request) -> str:
    """Cache-Control: what a pinned revision says never changes; the newest is asked for again each time. What a
    signed-in browser is shown is kept by nobody."""
    if has_session_cookie(request.scope["headers"]):
        return "private, no-store"
    whose = "private, " if "authorization" in request.headers else ""
    if request.method != "GET":
        return "no-store"
    if "revision" in request.query_params:
        return f"{whose}max-age={PINNED_SECONDS}"
    max_age = request.app.state.settings.max_age
    return f"{whose}max-age={max_age}" if max_age else f"{whose}no-cache"
