"""The OpenAPI document, its page, and the static files."""

from collections.abc import Mapping
from importlib.resources import files

from fastapi import Request
from starlette.responses import Response

from app.errors import NotFound
from app.web import guide
from app.web.reading.strict import strict_router
from app.web.representation.entity_tags import etag_of
from app.web.representation.page import page

router = strict_router(include_in_schema=False)

_TYPES = {
    "js": "text/javascript; charset=utf-8",
    "css": "text/css; charset=utf-8",
    "html": "text/html; charset=utf-8",
    "svg": "image/svg+xml",
    "txt": "text/plain; charset=utf-8",
    "woff2": "font/woff2",
}


def _static() -> Mapping[str, tuple[bytes, str, str]]:
    """Every static file by name, with its bytes, type and ETag."""
    found = {}
    for file in files("app.web").joinpath("static").iterdir():
        kind = _TYPES.get(file.name.rpartition(".")[2])
        if kind and file.is_file():
            body = file.read_bytes()
            found[file.name] = (body, kind, etag_of(body))
    return found


STATIC = _static()


@router.get("/static/{name:path}")
async def static(name: str) -> Response:
    """One static file."""
    if name not in STATIC:
        raise NotFound("There is nothing at that address.")
    return _file(name)


@router.get("/docs")
async def docs() -> Response:
    """The page on which you can try every request."""
    return _file("docs.html")


@router.get("/docs/{name}")
async def document(name: str, request: Request) -> Response:
    """The guide, or the table of changes, as a page."""
    if name not in guide.DOCUMENTS:
        raise NotFound("There is nothing at that address.")
    answer = {"title": guide.DOCUMENTS[name], "html": guide.html(name)}
    body = page("document", answer, request.scope)
    return _bytes(body, "text/html; charset=utf-8", etag_of(body))


@router.get("/openapi.json")
async def openapi(request: Request) -> Response:
    """The OpenAPI 3.1 document."""
    body: bytes = request.app.state.openapi_bytes()
    return _bytes(body, "application/json", etag_of(body))


def _file(name: str) -> Response:
    return _bytes(*STATIC[name])


def _bytes(body: bytes, media_type: str, etag: str) -> Response:
    return Response(body, headers={"ETag": etag, "Cache-Control": "no-cache", "Content-Type": media_type})
