"""Flags: mechanics flag a value that looks wrong, editors list and settle flags."""

from typing import Annotated

from fastapi import Path, Query, Request
from pydantic import Field
from starlette.responses import Response

from app.bench import flags
from app.catalogue.present import missing
from app.catalogue.rows import Snapshot
from app.catalogue.tables import STATEMENTS
from app.exchange.preconditions import table_of
from app.json_types import JsonObject
from app.questions.answers.cautions import cautions
from app.questions.answers.cursors import Cursor
from app.questions.tables.listing import Paged
from app.web.access import admitted, in_shop, permitted, to_its_end
from app.web.contract.openapi import json_body
from app.web.forks import answers as answers
from app.web.forks.bodies import FLAG_BODY
from app.web.forks.in_question import PRIVATE
from app.web.reading.idempotency import REPLAYED, IdempotencyKey, keyed
from app.web.reading.json_body import read_model
from app.web.reading.strict import strict_router
from app.web.routes.forks import respond_private
from app.web.routes.tables import respond_page

router = strict_router(tags=["bench log"])


class FlagsAsked(Paged):
    """The parameters of the list of flags."""

    statement: str | None = Field(None, max_length=80, description="Only for this statement.")


@router.post(
    "/v1/statements/{id}/flags",
    operation_id="flagStatement",
    summary="Flag a value that looks wrong",
    response_model=None,
    openapi_extra=json_body(FLAG_BODY, "What looks wrong, in words."),
    status_code=201,
    responses={201: {"model": answers.FlagAnswer, "description": "The flag, for editors to check."}},
)
async def flag_statement(
    request: Request,
    id: Annotated[str, Path(description="Id of the statement, whatever its table.")],
    idempotency_key: IdempotencyKey = None,
) -> Response:
    """Needs a key with the scope `bench`. It changes nothing in the catalogue."""
    caller = await permitted(request, "bench")
    body = await read_model(request, FLAG_BODY)

    def there(snapshot: Snapshot) -> tuple[str, int]:
        table = table_of(snapshot, id) or STATEMENTS[0]
        if snapshot.one(table, id) is None:
            raise missing(snapshot, table, id)
        return table.table, snapshot.revision

    table, revision = await request.app.state.catalogue.ask(there)
    shop = request.app.state.shop
    same = await keyed(request, caller.id, idempotency_key)
    made, again = await to_its_end(lambda: flags.flag(shop, id, table, revision, body["text"], caller.label, same))
    answer = {"revision": revision, "flag": made, "cautions": cautions()}
    headers = REPLAYED if again else {}
    return await respond_private(request, answer, answers.FLAG, "flag", status=201, headers=headers)


@router.get(
    "/v1/flags",
    operation_id="listFlags",
    summary="Flagged values",
    response_model=None,
    responses={200: {"model": answers.FlagList, "description": "A page of flags, oldest first."}},
)
async def list_flags(request: Request, asked: Annotated[FlagsAsked, Query()]) -> Response:
    """For editors: needs a key with the scope `edit`."""
    await admitted(request, "edit")
    cursor = asked.read_cursor("flags", (int,))
    after = 0 if cursor is None else int(cursor.place[0])
    found, total = await in_shop(request, lambda shop: flags.listed(shop, asked.limit + 1, after, asked.statement))
    revision = await request.app.state.catalogue.ask(lambda snapshot: snapshot.revision, asked.pin())
    page = found[: asked.limit]
    answer: JsonObject = {"revision": revision, "total": total, "flags": page, "cautions": cautions()}
    if len(found) > asked.limit:
        answer["next"] = asked.write_cursor("flags", Cursor(revision, total, (page[-1]["number"],)))
    return await respond_page(request, answer, answers.FLAG_LIST, question="flags", rows="flags", headers=PRIVATE)


@router.delete(
    "/v1/flags/{number}",
    operation_id="settleFlag",
    summary="Settle a flag",
    response_model=None,
    status_code=204,
    responses={204: {"description": "Settled and removed."}},
)
async def settle_flag(
    request: Request, number: Annotated[int, Path(ge=1, le=2_147_483_647, description="Number of the flag.")]
) -> Response:
    """For editors, after the statement was corrected or found to be right."""
    await permitted(request, "edit")
    await to_its_end(lambda: flags.settle(request.app.state.shop, number))
    return Response(status_code=204)
