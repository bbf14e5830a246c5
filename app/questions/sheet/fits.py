"""The question `fits`: the springs that fit a chassis at a travel, and near misses.

A fit is never inferred. Every entry is a statement with its source; a near miss names the one condition it fails.
"""

from collections.abc import Sequence
from typing import NotRequired

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.catalogue.offers import in_years, offers
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Fit, Spacer, Spring
from app.questions.answers.cautions import cautions
from app.questions.answers.open_choices import shown_undecided
from app.questions.answers.parameters import LookupParameters
from app.questions.answers.statement_views import StatementView, add_claim
from app.questions.answers.views import (
    Caution,
    ChassisRef,
    ScopeView,
    SourceRef,
    SpringRef,
    Undecided,
    axle_to_crown_view,
    chassis_ref,
    figure,
    length,
    scope_of_fit,
    source_ref,
)
from app.questions.configuration.chassis_context import ChassisContext, load_chassis
from app.questions.configuration.near_misses import Miss, Reason, near_misses
from app.questions.configuration.prevailing import Applicable, undecided
from app.questions.configuration.region import Given, Region, given
from app.units.preferences import Units, choose
from app.units.quantity import Quantity

NEAR_MISSES = 20


class FitsAsked(LookupParameters):
    """The parameters of `fits`. A parameter that is left out is unknown."""

    travel: str | None = Field(
        None, max_length=64, description="Wanted travel in mm, or with a unit.", examples=["150", "5.9in"]
    )
    model_year: int | None = Field(None, ge=1900, le=2200, description="Model year of the chassis.", examples=[2024])
    variant: str | None = Field(None, max_length=80, description="Id of the variant of the chassis.")
    wheel_size: str | None = Field(
        None, max_length=12, description="Wheel: ISO 5775 bead seat diameter in mm, or 29, 27.5, 26.", examples=["622"]
    )
    damper: str | None = Field(None, max_length=80, description="Id of the fitted damper.")
    serial: str | None = Field(None, max_length=80, description="Serial number, as stamped.", examples=["A22-0512"])
    fitted_part: str | None = Field(
        None,
        max_length=400,
        description="Id of a fitted part that figures depend on, such as a crown; several are separated by semicolons.",
    )


class SpacerView(TypedDict):
    """A volume spacer."""

    id: str
    name: str
    volume: NotRequired[Quantity]
    drives: NotRequired[list[str]]


class FitView(StatementView):
    """One fit: a spring that gives a travel in this chassis."""

    spring: SpringRef
    travel: Quantity
    travel_spacer: NotRequired[str]
    travel_spacers: NotRequired[int]
    axle_to_crown: NotRequired[Quantity]
    spacer: NotRequired[SpacerView]
    spacer_limit: NotRequired[int]
    spacers_fitted: NotRequired[int]
    pressure_limit: NotRequired[Quantity]


class MissReason(TypedDict):
    """Why a fit is only a near miss; `code` is contract."""

    code: Reason
    text: str


class NearMiss(TypedDict):
    """A fit that fails on exactly one condition."""

    id: str
    chassis: NotRequired[str]
    spring: SpringRef
    travel: Quantity
    scope: ScopeView
    reasons: list[MissReason]
    source: NotRequired[SourceRef]


class AskedView(TypedDict, total=False):
    """The configuration as it was understood."""

    travel: Quantity
    model_year: int
    variant: str
    spring: str
    damper: str
    wheel_size: int
    serial: str
    fitted_part: list[str]


class FitsAnswer(TypedDict):
    """Fits, near misses, and the parameters that would decide."""

    revision: int
    chassis: ChassisRef
    asked: AskedView
    fits: list[FitView]
    near_misses: list[NearMiss]
    near_misses_total: int
    undecided: list[Undecided]
    cautions: list[Caution]


FITS = TypeAdapter(FitsAnswer)


def fits(snapshot: Snapshot, chassis: str, asked: FitsAsked) -> FitsAnswer:
    """The answer at one revision. Raises NotFound, Gone, and Invalid for a configuration the chassis cannot have."""
    units = chosen_units(asked)
    wanted = given(
        travel=asked.travel, model_year=asked.model_year, variant=asked.variant, damper=asked.damper,
        wheel_size=asked.wheel_size, serial=asked.serial, fitted_part=asked.fitted_part,
    )  # fmt: skip
    context = load_chassis(snapshot, chassis)
    family = offers(snapshot, context.chassis)
    offered = family[chassis]
    where = context.region(wanted, offered)
    shown = prevailing_fits(context, in_years(snapshot, chassis, where.years), wanted, where)
    near = near_misses(context, family, wanted, where, [each.statement for each in shown])
    springs = snapshot.many(Spring, {each.statement.spring for each in shown} | {miss.fit.spring for miss in near})
    spacers = snapshot.many(Spacer, {each.statement.spacer for each in shown if each.statement.spacer})
    context.with_sources([miss.fit for miss in near])
    open_parameters = shown_undecided(undecided(shown, where, context.choices(where, offered)), context)
    codes = ["limits", "frame-limit", *(["undecided"] if open_parameters else []), *serial_codes(context, wanted)]
    return {
        "revision": snapshot.revision,
        "chassis": chassis_ref(context.chassis, context.maker),
        "asked": asked_view(wanted, where, units),
        "fits": [fit_view(each, context, springs, spacers, units) for each in shown],
        "near_misses": [near_view(miss, context, springs, units) for miss in near[:NEAR_MISSES]],
        "near_misses_total": len(near),
        "undecided": open_parameters,
        "cautions": cautions("pressure-before-opening", "shock-pump-only", *codes, sources=context.sources.values()),
    }


def serial_codes(context: ChassisContext, wanted: Given) -> list[str]:
    """The codes of the cautions about the serial that was given."""
    return ["serial-unread"] if context.serial_is_unread(wanted) else []


def chosen_units(asked: LookupParameters) -> Units:
    """The units of an answer. Raises Invalid for an unknown unit or one of another kind."""
    names = asked.units_asked()
    return choose(names.pop("units"), names)


def prevailing_fits(
    context: ChassisContext, offered: Sequence[Fit], wanted: Given, where: Region
) -> list[Applicable[Fit]]:
    """The fits that apply, at the wanted travel if one is given, ordered by travel and spring.

    The spring is the answer, not a condition.
    """
    travel = where.travel[0] if wanted.travel is not None else None
    answering = [fit for fit in offered if travel is None or fit.travel_mm == travel]
    if wanted.spring is not None:
        answering = [fit for fit in answering if fit.spring == wanted.spring]
    scoped = [(fit, scope._replace(spring=None)) for fit, scope in context.scoped(answering)]
    shown = context.prevailing_of(scoped, where)
    return sorted(shown, key=lambda each: (each.statement.travel_mm, each.statement.spring, not each.surely))


def spring_ref(id: str, springs: dict[str, Spring]) -> SpringRef:
    """A spring, by its part number; only the id if its row is missing."""
    spring = springs.get(id)
    if spring is None:
        return {"id": id}
    shown: SpringRef = {"id": id, "name": spring.name, "kind": spring.kind}
    if spring.part_number is not None:
        shown["part_number"] = spring.part_number
    if spring.superseded_by is not None:
        shown["superseded_by"] = spring.superseded_by
    if spring.colour_mark is not None:
        shown["colour_mark"] = spring.colour_mark
    return shown


def fit_view(
    each: Applicable[Fit], context: ChassisContext, springs: dict[str, Spring], spacers: dict[str, Spacer], units: Units
) -> FitView:
    """The view of one fit."""
    fit = each.statement
    shown: FitView = {
        "id": fit.id,
        "spring": spring_ref(fit.spring, springs),
        "travel": length(fit.travel_mm, units),
        "scope": scope_of_fit(fit, units),
    }
    if fit.travel_spacer is not None:
        shown["travel_spacer"] = fit.travel_spacer
    if fit.travel_spacers is not None:
        shown["travel_spacers"] = fit.travel_spacers
    if (to_crown := axle_to_crown_view(fit, units)) is not None:
        shown["axle_to_crown"] = to_crown
    if fit.spacer is not None:
        shown["spacer"] = spacer_view(fit.spacer, spacers, units)
    if fit.spacer_limit is not None:
        shown["spacer_limit"] = fit.spacer_limit
    if fit.spacers_fitted is not None:
        shown["spacers_fitted"] = fit.spacers_fitted
    if (limit := figure(fit, "pressure", None, fit.pressure_unit, units, maximum="pressure_limit")) is not None:
        shown["pressure_limit"] = limit
    add_claim(shown, each, context.sources)
    return shown


def spacer_view(id: str, spacers: dict[str, Spacer], units: Units) -> SpacerView:
    """A volume spacer; only the id if its row is missing."""
    spacer = spacers.get(id)
    if spacer is None:
        return {"id": id, "name": id}
    shown: SpacerView = {"id": id, "name": spacer.name}
    if (volume := figure(spacer, "volume", "volume_ml", "mL", units)) is not None:
        shown["volume"] = volume
    if spacer.drives:
        shown["drives"] = list(spacer.drives)
    return shown


def near_view(miss: Miss, context: ChassisContext, springs: dict[str, Spring], units: Units) -> NearMiss:
    """A fit that does not hold for the configuration, with the one reason why."""
    shown: NearMiss = {
        "id": miss.fit.id,
        "spring": spring_ref(miss.fit.spring, springs),
        "travel": length(miss.fit.travel_mm, units),
        "scope": scope_of_fit(miss.fit, units),
        "reasons": [{"code": miss.code, "text": miss.text}],
    }
    if miss.other is not None:
        shown["chassis"] = miss.other.id
    if (source := source_ref(miss.fit, context.sources)) is not None:
        shown["source"] = source
    return shown


def asked_view(wanted: Given, where: Region, units: Units) -> AskedView:
    """The configuration as it was understood: the matched travel, the wheel as its bead seat diameter."""
    shown: AskedView = {}
    if wanted.travel is not None:
        shown["travel"] = length(where.travel[0], units)
    if wanted.model_year is not None:
        shown["model_year"] = wanted.model_year
    if wanted.variant is not None:
        shown["variant"] = wanted.variant
    if wanted.spring is not None:
        shown["spring"] = wanted.spring
    if wanted.damper is not None:
        shown["damper"] = wanted.damper
    if wanted.wheel_size is not None:
        shown["wheel_size"] = wanted.wheel_size
    if wanted.serial is not None:
        shown["serial"] = wanted.serial
    if wanted.fitted_parts:
        shown["fitted_part"] = list(wanted.fitted_parts)
    return shown
