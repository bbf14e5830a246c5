"""Every table: its list, and one row with links. The routes are built from the table descriptions."""

import re
import urllib.parse
from collections.abc import Mapping
from functools import lru_cache
from typing import Annotated, Any

from fastapi import APIRouter, FastAPI, Path, Query, Request
from fastapi.routing import APIRoute
from pydantic import TypeAdapter
from starlette.responses import Response

from app.catalogue.lineage import Head
from app.catalogue.rows import Snapshot
from app.catalogue.tables import TABLES, Row
from app.json_types import JsonObject
from app.questions.answers.parameters import Pinned
from app.questions.tables.links import entry, entry_adapter, entry_shape
from app.questions.tables.listing import Paged, list_adapter, list_asked, list_shape, listing
from app.web.reading.strict import strict_router
from app.web.representation import respond

router = strict_router(tags=["tables"])


RowId = Annotated[str, Path(description="Id of the row.")]
_QUESTION = re.compile(r"/v1/([a-z]+)/\{\w+\}/([a-z/-]+)")


@lru_cache(maxsize=1)
def questions_about(app: FastAPI) -> dict[str, list[str]]:
    """For each table, the names of the questions that have a route below its rows."""
    known: dict[str, list[str]] = {name: [] for name in TABLES}
    for route in app.routes:
        match = (
            _QUESTION.fullmatch(route.path) if isinstance(route, APIRoute) and "GET" in (route.methods or ()) else None
        )
        if match and match[1] in known:
            known[match[1]].append(match[2])
    return known


async def respond_page(
    request: Request, answer: JsonObject, adapter: TypeAdapter[Any], *, question: str, rows: str,
    headers: Mapping[str, str] | None = None,
) -> Response:  # fmt: skip
    """One page of a list. The cursor in `next` becomes an address, in the body and as a Link header (RFC 8288);
    `next_cursor` keeps the cursor itself."""
    headers = dict(headers or {})
    if "next" in answer:
        answer["next_cursor"] = answer["next"]
        answer["next"] = _going_on(request, answer["next"])
        headers["Link"] = f'<{answer["next"]}>; rel="next"'
    return await respond(request, answer, adapter, question=question, rows=rows, headers=headers)


def _going_on(request: Request, cursor: str) -> str:
    path: str = request.scope["state"]["raw_path"].decode("ascii", "replace")
    pairs = urllib.parse.parse_qsl(request.scope["query_string"].decode("ascii"))
    query = urllib.parse.urlencode([*((name, value) for name, value in pairs if name != "cursor"), ("cursor", cursor)])
    return f"{path}?{query}"


def _add_list(router: APIRouter, table: type[Row]) -> None:
    async def list_rows(request: Request, asked: Paged) -> Response:
        wanted = listing(table, asked)
        answer = await request.app.state.catalogue.ask(wanted.answer, wanted.pin)
        return await respond_page(request, answer, list_adapter(table), question="list", rows="rows")

    list_rows.__annotations__["asked"] = Annotated[list_asked(table), Query()]
    list_rows.__doc__ = (
        f"{table.meaning} Filter by any column. Every page gives the total number of rows and the address of the "
        "next page, in `next` and as a Link header. Rows are as exchanged: published figures keep their digits."
    )
    router.add_api_route(
        f"/v1/{table.table}",
        list_rows,
        methods=["GET"],
        operation_id=f"list{_title(table.table)}",
        summary=f"List {table.table}",
        response_model=None,
        responses={200: {"model": list_shape(table), "description": "Rows, ordered by id, or by similarity for `q`."}},
    )


def _add_entry(router: APIRouter, table: type[Row]) -> None:
    async def get_row(request: Request, id: RowId, asked: Annotated[Pinned, Query()]) -> Response:
        questions = questions_about(request.app)[table.table]

        def found(snapshot: Snapshot) -> tuple[JsonObject, Head]:
            answer = entry(snapshot, table, id, questions, asked.units)
            return answer, snapshot.at(answer["revision_from"])

        answer, head = await request.app.state.catalogue.ask(found, asked.pin())
        version = head if table.role == "statement" else None  # what If-Match names in an edit
        return await respond(request, answer, entry_adapter(table), question="entry", version=version)

    get_row.__doc__ = (
        "The row as exchanged, its first revision, the rows it refers to and those that refer to it. 404 for an id "
        "that was never used, with similar `candidates`; 410 for a withdrawn one, with its `history`."
    )
    router.add_api_route(
        f"/v1/{table.table}/{{id}}",
        get_row,
        methods=["GET"],
        operation_id=f"get{table.__name__}",
        summary=f"One row of {table.table}",
        response_model=None,
        responses={200: {"model": entry_shape(table), "description": "The row with links."}},
    )


def _title(name: str) -> str:
    return name[:1].upper() + name[1:]


for _table in TABLES.values():
    _add_list(router, _table)
    _add_entry(router, _table)
