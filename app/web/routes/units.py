"""The unit table, and single conversions with their exact result and factor."""

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
    """The parameters of answers that do not depend on the catalogue: only the format."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    format: Literal["json", "html", "txt", "csv", "svg"] | None = Field(
        default=None,
        description="Format of the answer. A suffix (`.csv`) overrides `format`, which overrides Accept.",
    )


class ConvertAsked(FormAsked):
    """The parameters of a conversion."""

    value: str = Field(max_length=LONGEST_MEASURE, description="The number to convert.", examples=["7.3"])
    start: str = Field(
        alias="from", max_length=LONGEST_SPELLING, description="Its unit, in any accepted spelling.", examples=["N·m"]
    )
    target: str = Field(
        alias="to", max_length=LONGEST_SPELLING, description="The unit of the result; it must be of the same kind.",
        examples=["in·lbf"],
    )  # fmt: skip
    rounding: Rounding = Field(
        default="nearest",
        alias="round",
        description="How to round: use `down` for a maximum and `up` for a minimum; `none` gives up to 17 digits.",
    )
    digits: int | None = Field(
        default=None,
        ge=0,
        le=MOST_DIGITS,
        description="Digits after the decimal point; by default those of the display step of the unit.",
    )


@router.get(
    "/v1/units",
    operation_id="listUnits",
    summary="All units, by kind",
    response_model=None,
    responses={200: {"model": UnitTable, "description": "The kinds, their units, spellings and factors."}},
)
async def list_units(request: Request, asked: Annotated[FormAsked, Query()]) -> Response:
    """`base value = value * factor + offset`; units convert only within one kind: torque is not energy."""
    return await respond(request, unit_table(), _TABLE, question="units", rows="kinds")


@router.get(
    "/v1/convert",
    operation_id="convert",
    summary="One conversion, exact and rounded",
    response_model=None,
    responses={200: {"model": Conversion, "description": "The rounded and the exact result, and the factor."}},
)
async def convert_one(request: Request, asked: Annotated[ConvertAsked, Query()]) -> Response:
    """`exact` is not rounded; `result` is rounded for display as `round` says."""
    found = convert(asked.value, asked.start, asked.target, rounding=asked.rounding, digits=asked.digits)
    return await respond(request, found, _CONVERSION, question="convert")
