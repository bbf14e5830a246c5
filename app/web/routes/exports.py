"""The whole catalogue at a revision, as a Data Package or a SQLite file: made in a child process, sent as a file."""

import shutil
import tempfile
from collections.abc import MutableMapping
from pathlib import Path
from typing import Annotated, Any
from weakref import WeakKeyDictionary

from cachetools import LRUCache
from fastapi import Query, Request
from pydantic import Field, TypeAdapter
from starlette.background import BackgroundTask
from starlette.responses import FileResponse, Response
from typing_extensions import TypedDict

from app.catalogue.catalogue import Catalogue
from app.exchange import child
from app.questions.answers.cautions import cautions
from app.questions.answers.parameters import Pinned
from app.questions.answers.views import Caution
from app.web.reading.strict import strict_router
from app.web.representation import respond
from app.web.representation.entity_tags import matches

router = strict_router(tags=["exchange"])

Asked = Annotated[Pinned, Query()]


class ContentHash(TypedDict):
    """One hash of all that holds at a revision, by which copies are compared."""

    revision: int
    content_hash: Annotated[str, Field(description="Of an unpacked export: `LC_ALL=C sha256sum *.csv | sha256sum`.")]
    cautions: list[Caution]


CONTENT_HASH = TypeAdapter(ContentHash)
_KNOWN: WeakKeyDictionary[Catalogue, MutableMapping[int, str]] = WeakKeyDictionary()


def _file(media_type: str) -> dict[int | str, dict[str, Any]]:
    content = {media_type: {"schema": {"type": "string", "format": "binary"}}}
    return {200: {"content": content, "description": "The file."}}


@router.get(
    "/v1/export",
    operation_id="exportPackage",
    summary="The catalogue as a Data Package",
    response_class=Response,
    responses=_file("application/zip"),
)
async def export_package(request: Request, asked: Asked) -> Response:
    """One CSV file per table and a descriptor, in canonical form: the same revision gives the same bytes."""
    return await _exported(request, asked, "zip", "application/zip")


@router.get(
    "/v1/export.sqlite",
    operation_id="exportSqlite",
    summary="The catalogue as a SQLite file",
    response_class=Response,
    responses=_file("application/vnd.sqlite3"),
)
async def export_sqlite(request: Request, asked: Asked) -> Response:
    """The rows that hold at the revision, without their history: to query offline, or to serve from."""
    return await _exported(request, asked, "sqlite", "application/vnd.sqlite3")


@router.get(
    "/v1/content-hash",
    operation_id="contentHash",
    summary="One hash of the whole catalogue",
    response_model=None,
    responses={200: {"model": ContentHash, "description": "The hash of what holds at the revision."}},
)
async def content_hash(request: Request, asked: Asked) -> Response:
    """SHA-256 over the canonical tables: equal for equal catalogues, so that a copy can be compared with its origin."""
    catalogue = request.app.state.catalogue
    revision = await catalogue.ask(lambda snapshot: snapshot.revision, asked.pin())
    known = _KNOWN.setdefault(catalogue, LRUCache(64))
    if revision not in known:  # what holds at a revision never changes
        settings = request.app.state.settings
        options = ("--revision", str(revision))
        found = await child.run(settings, "content-hash", *options, timeout_s=settings.import_timeout)
        known[revision] = found["content_hash"]
    answer = {"revision": revision, "content_hash": known[revision], "cautions": cautions()}
    return await respond(request, answer, CONTENT_HASH, question="content-hash")


async def _exported(request: Request, asked: Pinned, suffix: str, media_type: str) -> Response:
    revision = await request.app.state.catalogue.ask(lambda snapshot: snapshot.revision, asked.pin())
    tag = f'"export.{revision}.{suffix}"'
    headers = {"ETag": tag, "Cache-Control": "no-cache", "Legwork-Revision": str(revision)}
    if matches(request.scope["state"].get("if_none_match"), tag):
        return Response(headers=headers, media_type=media_type)  # the answer cache makes it a 304
    folder = Path(tempfile.mkdtemp(prefix="legwork-export-"))
    path = folder / f"legwork-{revision}.{suffix}"
    settings = request.app.state.settings
    try:
        await child.run(settings, "export", str(path), "--revision", str(revision), timeout_s=settings.import_timeout)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    cleared = BackgroundTask(shutil.rmtree, folder, ignore_errors=True)
    return FileResponse(path, media_type=media_type, filename=path.name, headers=headers, background=cleared)
