"""Several answers about one chassis in one request and at one revision: what a screen of a workshop shows."""

from collections.abc import Mapping
from typing import Annotated, Literal, NotRequired

from fastapi import Query, Request
from pydantic import Field, TypeAdapter, ValidationError
from starlette.responses import Response
from typing_extensions import TypedDict

from app.catalogue.present import missing
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Chassis
from app.errors import Forbidden, Invalid, NotFound, Refusal, Unauthorised
from app.json_types import JsonObject
from app.questions.answers.cautions import cautions
from app.questions.answers.parameters import LookupParameters
from app.questions.answers.views import Caution
from app.questions.fork_check.fork_check import ForkCheckAnswer, ForkCheckAsked, fork_check
from app.questions.job.job_card import JobCardAnswer, job_card
from app.questions.job.parameters import JobName
from app.questions.setup.setup import setup
from app.questions.setup.views import SetupAnswer
from app.questions.sheet.fits import FitsAnswer, FitsAsked, fits
from app.questions.sheet.sheet import ConfigurationAsked, SheetAnswer, sheet
from app.web.faults import faults_of
from app.web.forks.in_question import PRIVATE, JobCardOfFork, SetupOfFork, SheetOfFork, filled_in
from app.web.problem import Problem, problem_of
from app.web.reading.strict import strict_router
from app.web.representation import respond
from app.web.routes.chassis_questions import ChassisId

router = strict_router(tags=["questions"])

BriefPart = Literal["fits", "sheet", "setup", "card", "fork_check"]


class ForkCheckOfFrame(ForkCheckAsked):
    """The parameters of `fork-check`, with the frame."""

    frame: str = Field(max_length=80)


PARTS: Mapping[BriefPart, type[LookupParameters]] = {
    "fits": FitsAsked,
    "sheet": SheetOfFork,
    "setup": SetupOfFork,
    "card": JobCardOfFork,
    "fork_check": ForkCheckOfFrame,
}


class BriefAsked(JobCardOfFork, SetupOfFork, SheetOfFork):
    """The parameters of the parts, each as in its own question, and which parts are wanted."""

    job: JobName | None = Field(None, description="The job, for `card`.")  # type: ignore[assignment]
    include: str = Field(
        ",".join(PARTS),
        max_length=60,
        description="The parts that are wanted, separated by commas. A part that cannot be answered is in `problems`.",
        examples=["fits,setup"],
    )

    def parts(self) -> list[BriefPart]:
        """The wanted parts. Raises Invalid for an unknown one."""
        wanted = self.include.split(",")
        if not set(wanted) <= PARTS.keys():
            text = f"include takes {', '.join(PARTS)}, separated by commas"
            raise Invalid.one("not-a-choice", text, parameter="include", suggestion=",".join(PARTS))
        return [name for name in PARTS if name in wanted]


class PartProblem(TypedDict):
    """Why one part could not be answered."""

    part: BriefPart
    status: int
    problem: Problem


class BriefAnswer(TypedDict):
    """The wanted parts, each as its own question answers it, all from one revision."""

    revision: int
    fits: NotRequired[FitsAnswer]
    sheet: NotRequired[SheetAnswer]
    setup: NotRequired[SetupAnswer]
    card: NotRequired[JobCardAnswer]
    fork_check: NotRequired[ForkCheckAnswer]
    problems: list[PartProblem]
    cautions: list[Caution]


BRIEF = TypeAdapter(BriefAnswer)


@router.get(
    "/v1/chassis/{chassis}/brief",
    operation_id="chassisBrief",
    summary="Fits, sheet, set-up, job card and fork check in one answer",
    response_model=None,
    responses={200: {"model": BriefAnswer, "description": "The parts that could be answered, and the problems."}},
)
async def chassis_brief(request: Request, chassis: ChassisId, asked: Annotated[BriefAsked, Query()]) -> Response:
    """One request for a screen. Each part has the schema of its own question, takes the parameters that it knows and
    leaves out the others; all are of one revision. JSON only."""
    problems: dict[BriefPart, Refusal] = {}
    wanted: dict[BriefPart, LookupParameters] = {}
    for name in asked.parts():
        try:
            wanted[name] = await _filled_in(request, chassis, _read(PARTS[name], chassis, asked))
        except (Unauthorised, Forbidden, NotFound):  # of the fork, which is that of all parts
            raise
        except Refusal as refusal:
            problems[name] = refusal

    def answered(snapshot: Snapshot) -> tuple[int, JsonObject]:
        if snapshot.one(Chassis, chassis) is None:
            raise missing(snapshot, Chassis, chassis)
        found: JsonObject = {}
        for name, how in wanted.items():
            try:
                found[name] = _answered(snapshot, chassis, how)
            except Refusal as refusal:
                problems[name] = refusal
        return snapshot.revision, found

    revision, found = await request.app.state.catalogue.ask(answered, asked.pin())
    refused = [(name, problem_of(request.scope, problems[name])) for name in PARTS if name in problems]
    answer = {
        "revision": revision, **found,
        "problems": [{"part": name, "status": problem["status"], "problem": problem} for name, problem in refused],
        "cautions": cautions(),
    }  # fmt: skip
    private = PRIVATE if asked.fork is not None else {}
    return await respond(request, answer, BRIEF, question="brief", headers=private, only="json")


def _read(model: type[LookupParameters], chassis: str, asked: BriefAsked) -> LookupParameters:
    """The parameters of one part. Raises Invalid if one is missing."""
    given = {"chassis": chassis, **asked.model_dump(exclude_unset=True)}
    try:
        return model.model_validate({name: value for name, value in given.items() if name in model.model_fields})
    except ValidationError as error:
        faults = faults_of([{**each, "loc": ("query", *each["loc"])} for each in error.errors()])
        raise Invalid("; ".join(f"{fault.parameter}: {fault.text}" for fault in faults), faults) from None


async def _filled_in(request: Request, chassis: str, part: LookupParameters) -> LookupParameters:
    return await filled_in(request, chassis, part) if isinstance(part, ConfigurationAsked) else part


def _answered(snapshot: Snapshot, chassis: str, asked: LookupParameters) -> object:
    match asked:
        case JobCardOfFork():
            return job_card(snapshot, chassis, asked)
        case SetupOfFork():
            return setup(snapshot, chassis, asked, curves=asked.curve == "full")
        case SheetOfFork():
            return sheet(snapshot, chassis, asked)
        case ForkCheckOfFrame():
            return fork_check(snapshot, asked.frame, asked)
        case FitsAsked():
            return fits(snapshot, chassis, asked)
        case _:
            raise TypeError(f"no question takes {type(asked).__name__}")
