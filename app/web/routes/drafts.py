"""Drafts: tables as somebody gave them, what they mean, and the rows that follow, until they are loaded as a revision.

They need a key with the scope `edit`, or `review` for the second reader; another shop's draft is a 404.
"""

from typing import Annotated

from fastapi import Header, Path, Query, Request
from starlette.responses import Response

from app.drafts import kept
from app.drafts.kept import DraftChange, HeldDraft
from app.drafts.views import DRAFT, DRAFT_ERASED, DRAFT_LIST, DraftAnswer, DraftErasedAnswer, DraftList, draft_summary
from app.errors import PreconditionMissing
from app.questions.answers.cautions import cautions
from app.web.access import in_shop, permitted, to_its_end
from app.web.draft_bodies import (
    CHANGE_BODY,
    DRAFT_BODY,
    DRAFT_PATCH,
    LOAD_BODY,
    READ_BODY,
    REASON_BODY,
    START_BODY,
    TABLE_BODY,
    TABLE_TYPES,
    TICKS_BODY,
)
from app.web.draft_requests import admitted_to_drafts, answer_of, change_of, changed, loaded, started, tables_in, ticked
from app.web.edit_bodies import WRITE, WriteAnswer
from app.web.reading.idempotency import REPLAYED, IdempotencyKey, keyed
from app.web.reading.json_body import WrongMediaType, media_type_of, read_model
from app.web.reading.strict import strict_router
from app.web.representation.entity_tags import versions_in
from app.web.routes.edits import written_answer
from app.web.routes.forks import respond_private
from app.web.routes.units import FormAsked

router = strict_router(tags=["drafts"])

DraftId = Annotated[str, Path(description="Id of the draft, given when it was started.")]
DraftIfMatch = Annotated[str | None, Header(description="The ETag of the draft as you read it.")]
DraftAsked = Annotated[FormAsked, Query()]
TableName = Annotated[str, Query(max_length=60, description="Its name, if the file does not name it.")]


@router.post(
    "/v1/drafts",
    operation_id="startDraft",
    summary="Start a draft",
    response_model=None,
    openapi_extra=START_BODY,
    status_code=201,
    responses={201: {"model": DraftAnswer, "description": "The draft."}},
)
async def start_draft(request: Request, idempotency_key: IdempotencyKey = None) -> Response:
    """Empty; with the rows of another fork, or of an earlier edition, to be seen again; or to undo a revision. 409 if
    the drafts of the shop take up 50 MB."""
    caller = await permitted(request, "edit")
    body = await read_model(request, DRAFT_BODY)
    same = await keyed(request, caller.shop, idempotency_key)
    draft, again = await started(request, caller, body, same)
    headers = {"Location": f"/v1/drafts/{draft.id}"} | (REPLAYED if again else {})
    return await _shown(request, draft, status=201, headers=headers)


@router.get(
    "/v1/drafts",
    operation_id="listDrafts",
    summary="The drafts of this shop",
    response_model=None,
    responses={200: {"model": DraftList, "description": "All drafts, the latest change first."}},
)
async def list_drafts(request: Request, asked: DraftAsked) -> Response:
    """A draft is erased 90 days after its last change."""
    caller = await admitted_to_drafts(request)
    found = await in_shop(request, lambda shop: kept.listed(shop, caller.shop))
    revision = await request.app.state.catalogue.ask(lambda snapshot: snapshot.revision)
    answer = DraftList(
        revision=revision, total=len(found), drafts=[draft_summary(each) for each in found], cautions=cautions()
    )
    return await respond_private(request, answer, DRAFT_LIST, "drafts", rows="drafts")


@router.get(
    "/v1/drafts/{id}",
    operation_id="getDraft",
    summary="One draft, with the rows that follow from it now",
    response_model=None,
    responses={200: {"model": DraftAnswer, "description": "The draft; its ETag is needed to change it."}},
)
async def get_draft(request: Request, id: DraftId, asked: DraftAsked) -> Response:
    """Rows, questions and findings are derived from what was given and from the catalogue as it is now."""
    caller = await admitted_to_drafts(request)
    return await _shown(request, await in_shop(request, lambda shop: kept.held(shop, caller.shop, id)))


@router.post(
    "/v1/drafts/{id}/grids",
    operation_id="addTableToDraft",
    summary="Add a table to a draft",
    response_model=None,
    openapi_extra=TABLE_BODY,
    responses={200: {"model": DraftAnswer, "description": "The draft with the table."}},
)
async def add_table(
    request: Request, id: DraftId, name: TableName = "table", if_match: DraftIfMatch = None,
    idempotency_key: IdempotencyKey = None,
) -> Response:  # fmt: skip
    """Text or a workbook, read in a process of its own. Its cells are kept word for word, the file is not. 422 with a
    sentence if it cannot be read."""
    caller = await permitted(request, "edit")
    versions = _versions(if_match)
    await in_shop(request, lambda shop: kept.held(shop, caller.shop, id))
    if media_type_of(request) not in TABLE_TYPES:
        raise WrongMediaType(TABLE_TYPES)
    same = await keyed(request, caller.shop, idempotency_key)
    found = await tables_in(await request.body(), name)
    wanted = DraftChange(grids=tuple(found.grids), remarks=tuple(found.remarks))
    draft, again = await changed(request, caller, id, wanted, versions, same)
    return await _shown(request, draft, headers=REPLAYED if again else {})


@router.patch(
    "/v1/drafts/{id}",
    operation_id="changeDraft",
    summary="Answer questions, correct cells, remove tables",
    response_model=None,
    openapi_extra=CHANGE_BODY,
    responses={200: {"model": DraftAnswer, "description": "The draft after the change."}},
)
async def change_draft(request: Request, id: DraftId, if_match: DraftIfMatch = None) -> Response:
    """Answers are by question, and a question is asked once for each distinct text. 428 without If-Match, 412 if the
    draft has changed since you read it."""
    caller = await permitted(request, "edit", one_of_many=True)
    body = await read_model(request, DRAFT_PATCH)
    versions = _versions(if_match)
    draft, _ = await changed(request, caller, id, change_of(body), versions)
    return await _shown(request, draft)


@router.post(
    "/v1/drafts/{id}/ticks",
    operation_id="tickDraft",
    summary="Say as the second reader whether rows are so",
    response_model=None,
    openapi_extra=READ_BODY,
    responses={200: {"model": DraftAnswer, "description": "The draft with the ticks."}},
)
async def tick_draft(request: Request, id: DraftId) -> Response:
    """Needs the scope `review`, and a key that has not changed the draft. A tick belongs to the row's content: any
    change of the row removes it. 409 if the row has changed since you read it."""
    caller = await permitted(request, "review", one_of_many=True)
    body = await read_model(request, TICKS_BODY)
    draft = await in_shop(request, lambda shop: kept.held(shop, caller.shop, id))
    return await _shown(request, await ticked(request, caller, draft, body["ticks"]))


@router.post(
    "/v1/drafts/{id}/load",
    operation_id="loadDraft",
    summary="Load a draft as one revision",
    response_model=None,
    openapi_extra=REASON_BODY,
    status_code=201,
    responses={201: {"model": WriteAnswer, "description": "The new revision; the draft is closed."}},
)
async def load_it(request: Request, id: DraftId, if_match: DraftIfMatch = None) -> Response:
    """422 with what is still open, or with the findings that refuse it. If the answer is lost, send the request again:
    a version of a draft is loaded once, and the repeated request gets the same revision."""
    caller = await permitted(request, "edit")
    body = await read_model(request, LOAD_BODY)
    versions = _versions(if_match)
    draft = await in_shop(request, lambda shop: kept.held(shop, caller.shop, id))
    done = await loaded(request, caller, draft, versions, body.get("reason"))
    answer = {**written_answer(done), "cautions": cautions()}
    headers = REPLAYED if answer.pop("replayed", False) else {}
    return await respond_private(request, answer, WRITE, "report", status=201, rows="findings", headers=headers)


@router.delete(
    "/v1/drafts/{id}",
    operation_id="eraseDraft",
    summary="Erase a draft",
    response_model=None,
    responses={200: {"model": DraftErasedAnswer, "description": "The draft is gone."}},
)
async def erase_draft(request: Request, id: DraftId) -> Response:
    """What was loaded from it stays in the catalogue."""
    caller = await permitted(request, "edit")
    await to_its_end(lambda: kept.erase(request.app.state.shop, caller.shop, id))
    revision = await request.app.state.catalogue.ask(lambda snapshot: snapshot.revision)
    answer = DraftErasedAnswer(revision=revision, erased=id, cautions=cautions())
    return await respond_private(request, answer, DRAFT_ERASED, "erased")


def _versions(if_match: str | None) -> set[int]:
    if if_match is None:
        raise PreconditionMissing("send If-Match with the ETag of the draft as you read it")
    return versions_in(if_match)


async def _shown(
    request: Request, draft: HeldDraft, status: int = 200, headers: dict[str, str] | None = None
) -> Response:
    answer = await answer_of(request, draft)
    return await respond_private(
        request, answer, DRAFT, "draft", status=status, headers=headers or {}, version=draft.version
    )
