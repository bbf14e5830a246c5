"""The job card of one fork, and of a fleet with one shopping list."""

import asyncio
from typing import Annotated, Literal

from fastapi import Query, Request
from pydantic import Field, TypeAdapter
from starlette.responses import Response
from typing_extensions import TypedDict

from app.errors import Refusal
from app.questions.answers.cautions import cautions
from app.questions.answers.parameters import LookupParameters
from app.questions.job.fleet import MOST_CARDS, shopping_list
from app.questions.job.job_card import JOB_CARD, JobCardAnswer, Made, job_card, made
from app.questions.job.views import FLEET, CardOfFleet, FleetAnswer
from app.questions.sheet.fits import chosen_units
from app.web.contract.openapi import json_body
from app.web.forks.card_asked import card_asked
from app.web.forks.in_question import JobCardOfFork, filled_in
from app.web.problem import problem_of
from app.web.reading.json_body import read_model
from app.web.reading.strict import strict_router
from app.web.representation import respond
from app.web.routes.chassis_questions import ChassisId, answer

router = strict_router(tags=["questions"])


class FleetBody(TypedDict):
    """Up to 200 configurations: each the id of a chassis and the parameters of `job-card`, all as text.
    `fork` is the id of a fork in your bench log."""

    cards: Annotated[list[dict[str, str]], Field(min_length=1, max_length=MOST_CARDS)]


BODY = TypeAdapter(FleetBody)


class JobCardShown(JobCardOfFork):
    """The parameters of `job-card`, a fork, and how the card is shown."""

    view: Literal["card", "bench"] = Field(
        "card", description="Page and text: the whole card, or with `bench` only its figures, on one phone screen."
    )


@router.get(
    "/v1/chassis/{chassis}/job-card",
    operation_id="jobCard",
    summary="The work on a fork, in order",
    response_model=None,
    responses={200: {"model": JobCardAnswer, "description": "Steps, parts, tools, oils, settings, checks."}},
)
async def chassis_job_card(request: Request, chassis: ChassisId, asked: Annotated[JobCardShown, Query()]) -> Response:
    """Every figure comes from a statement, or is a blank line listed under `gaps`. 422 if something is undecided,
    forbidden or impossible: `errors[].code` says what, `suggestion` what would be possible."""
    wanted = await filled_in(request, chassis, asked)
    shown = "bench-view" if asked.view == "bench" else "job-card"
    return await answer(request, wanted, lambda snapshot: job_card(snapshot, chassis, wanted), JOB_CARD, shown, "steps")


@router.post(
    "/v1/job-cards",
    operation_id="jobCards",
    summary="Job cards of a fleet, with one shopping list",
    response_model=None,
    openapi_extra=json_body(BODY, "The configurations. Revision and units are query parameters that apply to all."),
    responses={200: {"model": FleetAnswer, "description": "Each card or its problem, and one shopping list."}},
)
async def job_cards(request: Request, asked: Annotated[LookupParameters, Query()]) -> Response:
    """A refused card has its own status and problem. The shopping list covers the cards that were made."""
    body = await read_model(request, BODY)
    units = chosen_units(asked)
    catalogue = request.app.state.catalogue
    revision = await catalogue.ask(lambda snapshot: snapshot.revision, asked.pin())
    shared = {"units": asked.units, **asked.units_asked()}
    cards: list[CardOfFleet] = []
    done: list[Made] = []
    for index, given in enumerate(body["cards"]):
        try:
            chassis, wanted = card_asked(given, ("cards", index), {**shared, "revision": revision})
            filled = await filled_in(request, chassis, wanted)
            one = await catalogue.ask(lambda snapshot, id=chassis, how=filled: made(snapshot, id, how), filled.pin())
        except Refusal as refusal:
            problem = problem_of(request.scope, refusal)
            cards.append({"index": index, "status": problem["status"], "problem": problem})
        else:
            done.append(one)
            cards.append({"index": index, "status": 200, "card": one.answer})
        await asyncio.sleep(0)  # lets other requests in between two cards
    found: FleetAnswer = {
        "revision": revision, "cards": cards, "made": len(done), "refused": len(cards) - len(done),
        "shopping_list": shopping_list(done, units), "cautions": cautions("limits", "not-in-the-catalogue"),
    }  # fmt: skip
    invented = [each for one in done for each in one.answer["cautions"] if each["code"] == "invented-data"]
    found["cautions"] = [*invented[:1], *found["cautions"]]
    return await respond(request, found, FLEET, question="job-cards")
