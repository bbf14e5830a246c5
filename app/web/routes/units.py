"""The unit table for whoever builds a unit picker, and one conversion with its exact result and factor."""

from typing import Annotated, Literal

from fastapi import Query, Request
from pydantic import BaseModel, ConfigDict, Field, TypeAdapter
from starlette.responses import Response

from app.units.describe import MOST_DIGITS, Conversion, Rounding, UnitTable, convert, unit_table
from app.units.measure import LONGEST_MEASURE
from app.units.table import LONGEST_SPELLING
from app.web.reading.strict import strict_router
from app.web.representation import respond

router = strict_router(tags=["units and standards"])

_TABLE = TypeAdapter(UnitTable)
_CONVERSION = TypeAdapter(Conversion)


class FormAsked(BaseModel):
    """The parameters of what depends on no catalogue: the form of the answer alone."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    format: Literal["json", "html", "txt", "csv", "svg"] | None = Field(
        default=None, description="The form of the answer; the end of the address (`.csv`) beats it, it beats Accept."
    )


class ConvertAsked(FormAsked):
    """The parameters of a conversion."""

    value: str = Field(max_length=LONGEST_MEASURE, description="The number to convert, with a point.", examples=["7.3"])
    start: str = Field(
        alias="from", max_length=LONGEST_SPELLING, description="Its unit, however it is spelt.", examples=["N·m"]
    )
    target: str = Field(
        alias="to", max_length=LONGEST_SPELLING, description="The unit of the result, of the same kind.",
        examples=["in·lbf"],
    )  # fmt: skip
    rounding: Rounding = Field(
        default="nearest",
        alias="round",
        description="How the result is rounded: a maximum goes down, a minimum up; none gives up to 17 digits.",
    )
    digits: int | None = Field(
        default=None,
        ge=0,
        le=MOST_DIGITS,
        description="Decimals after the point; without it the display step of the unit holds.",
    )


@router.get(
    "/v1/units",
    operation_id="listUnits",
    summary="Every unit there is, by kind",
    response_model=None,
    responses={200: {"model": UnitTable, "description": "The kinds, their units, spellings and factors."}},
)
async def list_units(request: Request, asked: Annotated[FormAsked, Query()]) -> Response:
    """`base value = value * factor + offset`; conversion stays inside one kind: torque is no energy."""
    return await respond(request, unit_table(), _TABLE, question="units", rows="kinds")


@router.get(
    "/v1/convert",
    operation_id="convert",
    summary="One conversion, exact and rounded",
    response_model=None,
    responses={200: {"model": Conversion, "description": "The rounded result, the exact one and the factor."}},
)
async def convert_one(request: Request, asked: Annotated[ConvertAsked, Query()]) -> Response:
    """`exact` is not rounded at all; `result` is for reading out, rounded as `round` says."""
    found = convert(asked.value, asked.start, asked.target, rounding=asked.rounding, digits=asked.digits)
    return await respond(request, found, _CONVERSION, question="convert")
