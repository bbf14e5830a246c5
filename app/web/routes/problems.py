"""The pages that the `type` of a problem links to: its meaning and what to do."""

from typing import Annotated

from fastapi import Path, Query, Request
from pydantic import TypeAdapter
from rapidfuzz import process
from rapidfuzz.distance import OSA
from starlette.responses import Response
from typing_extensions import TypedDict

from app.errors import NotFound
from app.web.contract.problem_types import PROBLEM_TYPES, ProblemType
from app.web.reading.strict import strict_router
from app.web.representation import respond
from app.web.routes.units import FormAsked

router = strict_router(prefix="/problems", tags=["operation"])


class ProblemTypeRow(TypedDict):
    """One problem type."""

    type: str
    status: int
    title: str
    explanation: str


class ProblemTypeList(TypedDict):
    """All problem types."""

    problems: list[ProblemTypeRow]


_ONE = TypeAdapter(ProblemTypeRow)
_ALL = TypeAdapter(ProblemTypeList)


@router.get(
    "",
    operation_id="listProblemTypes",
    summary="All problem types",
    response_class=Response,
    responses={200: {"model": ProblemTypeList, "description": "Every problem type, ordered by status."}},
)
async def list_problem_types(request: Request, asked: Annotated[FormAsked, Query()]) -> Response:
    """Every problem type and its meaning."""
    rows = [_row(kind) for kind in PROBLEM_TYPES.values()]
    return await respond(request, {"problems": rows}, _ALL, question="problem-types", rows="problems")


@router.get(
    "/{slug}",
    operation_id="getProblemType",
    summary="One problem type",
    response_class=Response,
    responses={200: {"model": ProblemTypeRow, "description": "What it means and what to do."}},
)
async def get_problem_type(
    slug: Annotated[str, Path(description="The last part of `type`.")],
    request: Request,
    asked: Annotated[FormAsked, Query()],
) -> Response:
    """One problem type: the page that `type` of a problem links to."""
    if slug not in PROBLEM_TYPES:
        scorer = OSA.normalized_similarity
        near = process.extract(slug, PROBLEM_TYPES.keys(), scorer=scorer, score_cutoff=0.4, limit=3)
        candidates = [{"id": name, "score": round(score, 3)} for name, score, _ in near]
        raise NotFound("There is no problem type with that name.", candidates=candidates)
    return await respond(request, _row(PROBLEM_TYPES[slug]), _ONE, question="problem-type")


def _row(kind: ProblemType) -> ProblemTypeRow:
    return {"type": kind.link, "status": kind.status, "title": kind.title, "explanation": kind.explanation}
