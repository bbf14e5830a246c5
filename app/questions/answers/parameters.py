"""What every lookup may be asked: revision, form, units. A question's own parameters are a class that inherits this."""

import re
from datetime import date
from typing import Annotated, Literal, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

from app.catalogue.catalogue import Pin
from app.units.preferences import PARAMETERS

LAST_REVISION = 2_147_483_646


def _day(value: object) -> object:
    if isinstance(value, str) and not re.fullmatch(r"\d{4}-\d\d-\d\d", value):
        raise PydanticCustomError("not-a-date", "It should be a day as YYYY-MM-DD")
    return value


UnitName = Annotated[str, Field(min_length=1, max_length=20)]
IsoDate = Annotated[date, BeforeValidator(_day)]
RevisionNumber = Annotated[int, Field(ge=0, le=LAST_REVISION)]


class Pinned(BaseModel):
    """Which revision is asked, and in which form the answer is taken; unknown parameters are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    revision: RevisionNumber | None = Field(
        default=None, description="Answer from this revision of the catalogue; such an answer never changes."
    )
    as_of: IsoDate | None = Field(
        default=None, description="Answer from the last revision recorded on or before this UTC day (YYYY-MM-DD)."
    )
    min_revision: RevisionNumber | None = Field(
        default=None, description="Refuse with 503 until this revision has arrived here."
    )
    units: Literal["published", "metric", "imperial"] = Field(
        default="published", description="Units of what is computed; figures of a row stay as published."
    )
    format: Literal["json", "html", "txt", "csv", "svg"] | None = Field(
        default=None, description="The form of the answer; the end of the address (`.csv`) beats it, it beats Accept."
    )

    @model_validator(mode="after")
    def _one_moment(self) -> Self:
        if self.revision is not None and self.as_of is not None:
            raise PydanticCustomError("two-moments", "Give `revision` or `as_of`, not both", {"parameter": "as_of"})
        return self

    def pin(self) -> Pin:
        """The revision that is asked."""
        return Pin(self.revision, self.as_of, self.min_revision)


class LookupParameters(Pinned):
    """The parameters all lookups share; unknown ones are refused. Unit names stay text: the question resolves them."""

    units: Literal["published", "metric", "imperial"] = Field(
        default="published",
        description="Units of the answer: as published, metric (N·m, bar, mL, kg, mm, °C) "
        "or imperial (in·lbf, psi, US fl oz, lb, in, °F).",
    )
    torque_unit: UnitName | None = Field(default=None, description="Unit of every torque, whatever `units` says.")
    pressure_unit: UnitName | None = Field(default=None, description="Unit of every pressure.")
    volume_unit: UnitName | None = Field(default=None, description="Unit of every volume.")
    length_unit: UnitName | None = Field(default=None, description="Unit of every length.")
    mass_unit: UnitName | None = Field(default=None, description="Unit of every mass.")
    force_unit: UnitName | None = Field(default=None, description="Unit of every force.")
    temperature_unit: UnitName | None = Field(default=None, description="Unit of every temperature.")

    def units_asked(self) -> dict[str, str]:
        """The units that were given, by parameter name (`units`, `torque_unit` …)."""
        fields = self.__dict__
        return {name: value for name in ("units", *PARAMETERS) if (value := fields[name]) is not None}
