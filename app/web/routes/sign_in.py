"""Sign-in and sign-out for browsers. Pages only: programs send their key with each request."""

import asyncio
import re
from typing import Annotated

from fastapi import Query, Request
from starlette.responses import RedirectResponse, Response

from app.access import keys, sessions
from app.access.keys import Caller
from app.errors import Invalid, Unauthorised
from app.web.access import entered, refuse_from_elsewhere, signed_in, write_context
from app.web.reading.form_body import read_form
from app.web.reading.strict import strict_router
from app.web.representation.page import page
from app.web.session_cookie import give, secret_in, take_away

router = strict_router(include_in_schema=False)

MOST_BYTES = 8_000
WRONG = "This key is not valid."
_HERE = re.compile(r"/(?![/\\])[!-\[\]-~]{0,4000}")  # printable ASCII; a browser reads a backslash as a slash
_KEPT_BY_NOBODY = {"Cache-Control": "no-store", "Content-Type": "text/html; charset=utf-8"}


@router.get("/sign-in")
async def ask_for_the_key(
    request: Request, next: Annotated[str | None, Query(description="The page to open after signing in.")] = None
) -> Response:
    """The sign-in page."""
    return _page(request, local_path(next or ""))


@router.post("/sign-in")
async def sign_in(request: Request) -> Response:
    """Gives the same answer for every invalid key, whatever is wrong with it."""
    refuse_from_elsewhere(request)
    form = await read_form(request, ("key", "next"), MOST_BYTES)
    onwards, shop = local_path(form.get("next")), request.app.state.shop
    try:
        caller = await asyncio.to_thread(keys.caller, shop, f"Bearer {form.get('key')}")
    except Unauthorised:
        return _page(request, onwards, WRONG, status=401)
    assert caller is not None
    write_context(request.scope).caller = caller
    await entered(request, caller)
    secret = await asyncio.to_thread(sessions.begin, shop, caller, secret_in(request.scope))
    response = _onwards(onwards or _first(caller))
    give(response, request.scope, secret)
    return response


@router.post("/sign-out")
async def sign_out(request: Request) -> Response:
    """Ends the session everywhere it is in use."""
    refuse_from_elsewhere(request)
    await read_form(request, (), MOST_BYTES)
    caller, secret = signed_in(request.scope), secret_in(request.scope)
    if caller is not None and secret is not None:
        write_context(request.scope).caller = caller
        await entered(request, caller)
        await asyncio.to_thread(sessions.end, request.app.state.shop, secret)
    response = _onwards("/")
    take_away(response, request.scope)
    return response


def local_path(path: str) -> str:
    """A path of this service, or nothing. Raises Invalid for any other address."""
    if path and not _HERE.fullmatch(path):
        raise Invalid.one("leads-elsewhere", "`next` is a path of this service, percent-encoded.", parameter="next")
    return path


def _first(caller: Caller) -> str:
    return "/v1/forks" if caller.may("bench") else "/"


def _onwards(path: str) -> Response:
    return RedirectResponse(path, status_code=303, headers={"Cache-Control": "no-store"})


def _page(request: Request, onwards: str, wrong: str = "", status: int = 200) -> Response:
    answer = {"next": onwards, "wrong": wrong}
    headers = {**_KEPT_BY_NOBODY, **({"WWW-Authenticate": 'Bearer realm="legwork"'} if status == 401 else {})}
    return Response(page("sign-in", answer, request.scope), status_code=status, headers=headers)
