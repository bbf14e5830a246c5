"""The whole catalogue at a revision, as a Data Package or a SQLite file: made in a child process, sent as a file."""

import datetime as dt
from email.utils import format_datetime
from typing import Annotated

from fastapi import Query, Request
from pydantic import Field, TypeAdapter
from starlette.responses import FileResponse, Response
from typing_extensions import TypedDict

from app.catalogue.content_hash import HASH_VERSION
from app.exchange.kept_exports import KeptExports, PastRevision, past_revision
from app.questions.answers.cautions import cautions
from app.questions.answers.parameters import Pinned
from app.questions.answers.views import Caution
from app.web.middleware.compression import SMALLEST
from app.web.reading.strict import strict_router
from app.web.representation import respond
from app.web.representation.entity_tags import matches

router = strict_router(tags=["exchange"])

Asked = Annotated[Pinned, Query()]


class ContentHash(TypedDict):
    """One hash of the catalogue at a revision, to compare copies."""

    revision: int
    content_hash: Annotated[
        str,
        Field(
            description=(
                'SHA-256 over the sorted lines `["table","id","column","value"]` of all values given: compact JSON, a '
                "line for each cell of an export that is not empty."
            )
        ),
    ]
    hash_version: Annotated[int, Field(description="Version of that definition: only hashes of one version compare.")]
    cautions: list[Caution]


CONTENT_HASH = TypeAdapter(ContentHash)
_START = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)


def _file(media_type: str) -> dict[int | str, dict[str, object]]:
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
    """The rows valid at the revision, without their history: for queries offline. Numbers are numbers, with
    the published text beside them in `…_text`, and there is a view for each question. To serve from a copy, load the
    package."""
    return await _exported(request, asked, "sqlite", "application/vnd.sqlite3")


@router.get(
    "/v1/content-hash",
    operation_id="contentHash",
    summary="One hash of the whole catalogue",
    response_model=None,
    responses={200: {"model": ContentHash, "description": "The hash of the catalogue at the revision."}},
)
async def content_hash(request: Request, asked: Asked) -> Response:
    """SHA-256 over the values given: equal catalogues have equal hashes, so a copy can be compared with its origin."""
    revision = await _revision(request, asked)
    exports: KeptExports = request.app.state.exports
    found = await exports.content_hash(revision, request.app.state.settings)
    answer = {
        "revision": revision.head.number, "content_hash": found, "hash_version": HASH_VERSION, "cautions": cautions(),
    }  # fmt: skip
    return await respond(request, answer, CONTENT_HASH, question="content-hash")


async def _revision(request: Request, asked: Pinned) -> PastRevision:
    found: PastRevision = await request.app.state.catalogue.ask(past_revision, asked.pin())
    return found


async def _exported(request: Request, asked: Pinned, suffix: str, media_type: str) -> Response:
    revision = await _revision(request, asked)
    exports: KeptExports = request.app.state.exports
    name = exports.name(revision, suffix)
    recorded_at = dt.datetime.fromisoformat(revision.recorded_at) if revision.recorded_at else _START
    headers = {
        "ETag": f'"export.{name}"',
        "Cache-Control": "no-cache",
        "Content-Disposition": f'attachment; filename="legwork-{revision.head.number}.{suffix}"',
        "Accept-Ranges": "bytes",
        "Last-Modified": format_datetime(recorded_at.astimezone(dt.UTC), usegmt=True),
        "Legwork-Revision": str(revision.head.number),
    }
    if matches(request.scope["state"].get("if_none_match"), headers["ETag"]):
        # Nothing is exported: a body long enough to be treated like the file goes to the answer cache, which sends 304.
        return Response(bytes(SMALLEST), media_type=media_type, headers=headers)
    path = await exports.file(revision, suffix, request.app.state.settings)
    return FileResponse(path, media_type=media_type, headers=headers)
