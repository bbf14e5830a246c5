"""The whole catalogue at a revision, as a Data Package or a SQLite file: made in a child process, sent as a file."""

import shutil
import tempfile
from pathlib import Path
from typing import Annotated, Any

from fastapi import Query, Request
from starlette.background import BackgroundTask
from starlette.responses import FileResponse, Response

from app.exchange import child
from app.questions.asked import Pinned
from app.web.strict import strict_router

router = strict_router(tags=["exchange"])

Asked = Annotated[Pinned, Query()]


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


async def _exported(request: Request, asked: Pinned, suffix: str, media_type: str) -> Response:
    revision = await request.app.state.catalogue.ask(lambda at: at.revision, asked.pin())
    tag = f'"export.{revision}.{suffix}"'
    headers = {"ETag": tag, "Cache-Control": "no-cache", "Legwork-Revision": str(revision)}
    if request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers=headers)
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
