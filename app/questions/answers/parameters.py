"""The parameters that all look-ups share: revision, format, units. A question's own parameters inherit from these."""

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
        raise PydanticCustomError("not-a-date", "It should be a date as YYYY-MM-DD")
    return value


UnitName = Annotated[str, Field(min_length=1, max_length=20)]
IsoDate = Annotated[date, BeforeValidator(_day)]
RevisionNumber = Annotated[int, Field(ge=0, le=LAST_REVISION)]


class Pinned(BaseModel):
    """The revision and the format of the answer. Unknown parameters are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    revision: RevisionNumber | None = Field(
        default=None, description="Answer from this revision of the catalogue. Such an answer never changes."
    )
    as_of: IsoDate | None = Field(
        default=None, description="Answer from the latest revision recorded on or before this UTC day (YYYY-MM-DD)."
    )
    min_revision: RevisionNumber | None = Field(
        default=None, description="Answer 503 until this server has this revision."
    )
    units: Literal["published", "metric", "imperial"] = Field(
        default="published", description="Units of computed values; a row's own figures stay as published."
    )
    format: Literal["json", "html", "txt", "csv", "svg"] | None = Field(
        default=None,
        description=(
            "Format of the answer. A suffix (`.csv`) takes precedence over `format`, and `format` over Accept."
        ),
    )

    @model_validator(mode="after")
    def _one_moment(self) -> Self:
        if self.revision is not None and self.as_of is not None:
            raise PydanticCustomError("two-moments", "Give `revision` or `as_of`, not both", {"parameter": "as_of"})
        return self

    def pin(self) -> Pin:
        """The requested revision."""
        return Pin(self.revision, self.as_of, self.min_revision)


class LookupParameters(Pinned):
    """The parameters that all look-ups share. Unit names stay text until the question resolves them."""

    units: Literal["published", "metric", "imperial"] = Field(
        default="published",
        description="Units of the answer: as published, metric (N·m, bar, mL, kg, mm, °C) "
        "or imperial (in·lbf, psi, US fl oz, lb, in, °F).",
    )
    torque_unit: UnitName | None = Field(default=None, description="Unit of every torque; overrides `units`.")
    pressure_unit: UnitName | None = Field(default=None, description="Unit of every pressure.")
    volume_unit: UnitName | None = Field(default=None, description="Unit of every volume.")
    length_unit: UnitName | None = Field(default=None, description="Unit of every length.")
    mass_unit: UnitName | None = Field(default=None, description="Unit of every mass.")
    force_unit: UnitName | None = Field(default=None, description="Unit of every force.")
    temperature_unit: UnitName | None = Field(default=None, description="Unit of every temperature.")
    cite: str | None = Field(
        default=None,
        max_length=200,
        description="Source and page, as `id` or `id,page`, that the entry forms linked from a page begin with. "
        "It changes no figure.",
    )

    def units_asked(self) -> dict[str, str]:
        """The units that were requested, by parameter name (`units`, `torque_unit` …)."""
        return {name: value for name in ("units", *PARAMETERS) if (value := getattr(self, name)) is not None}
