"""Turns an answer into a response: format, ETag, Vary and Cache-Control.

A 304 is not made here but in `app.web.middleware.answer_cache`, from the finished answer.
"""

from collections.abc import Mapping

from starlette.requests import Request
from starlette.responses import Response

from app.catalogue.lineage import Head
from app.web.representation import csv_table
from app.web.representation.answer import Answer
from app.web.representation.choose import choose
from app.web.representation.entity_tags import etag_of, versioned
from app.web.representation.kinds import Answered, Representation, Shape, available, register
from app.web.representation.problem_forms import problem_response
from app.web.session_cookie import has_session_cookie

PINNED_SECONDS = 86_400

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
    version: int | Head | None = None,
    only: str | None = None,
) -> Response:
    """Render `answer` in the requested format, or 406 with the formats it has.

    `question` is the name of the answer, `rows` the member that is the list (then there is CSV). `version` is that of
    the row, for a statement the revision it began with. It is in the ETag, so that If-Match names a version in any
    format. `only` is the suffix of the only format. The ETag is a strong hash of the body before compression, which
    has the revision in it.
    """
    state = request.scope["state"]
    state["suffix_taken"] = True
    answered = Answered(question, answer, shape, rows, request)
    forms = [form for form in available(answered) if only in (None, form.suffix)]
    suffix, format_ = state.get("suffix"), request.query_params.get("format")
    form = choose(forms, suffix=suffix, format_=format_, accept=request.headers.get("accept"))
    if form is None:
        there = {"available": [{"media_type": form.media_type, "suffix": form.suffix} for form in forms]}
        return problem_response(
            request.scope, "not-acceptable", "This answer is not available in any format you accept.", extra=there
        )
    if form.complete is not None:
        answered = await form.complete(answered)
    body = form.render(answered)
    etag = etag_of(body) if version is None else versioned(version, body)
    kept = {"ETag": etag, "Cache-Control": kept_for(request), **(headers or {})}
    if vary := _vary(form, is_fixed=bool(suffix or format_)):
        kept["Vary"] = vary
    return Response(body, status_code=status, headers={"Content-Type": form.content_type, **kept})


def _vary(form: Representation, *, is_fixed: bool) -> str:
    """The headers that decide what an address returns (RFC 9110, 12.5.5). A page shows who is signed in.

    If the address leaves the format open, all its formats have one Vary header, because caches keep one per address.
    """
    if not is_fixed:
        return "Accept, Cookie"
    return "Cookie" if form.media_type == "text/html" else ""


def kept_for(request: Request) -> str:
    """Cache-Control: an answer at a fixed revision never changes; one at the latest is revalidated each time.

    Answers to a signed-in browser are never stored.
    """
    if has_session_cookie(request.scope["headers"]):
        return "private, no-store"
    whose = "private, " if "authorization" in request.headers else ""
    if request.method != "GET":
        return "no-store"
    if "revision" in request.query_params:
        return f"{whose}max-age={PINNED_SECONDS}"
    max_age = request.app.state.settings.max_age
    return f"{whose}max-age={max_age}" if max_age else f"{whose}no-cache"
