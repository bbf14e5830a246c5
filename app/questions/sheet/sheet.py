"""The question `sheet`: everything listed for one configuration. What is missing is listed under `gaps`."""

from typing import Literal, NotRequired

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.catalogue.rows import Snapshot
from app.questions.answers.cautions import BEFORE_OPENING, caution, cautions
from app.questions.answers.gap import Gap
from app.questions.answers.open_choices import shown_undecided
from app.questions.answers.preload import preload
from app.questions.answers.statement_views import (
    AdjustmentView,
    FillView,
    GreaseView,
    GuideView,
    IntervalView,
    LimitView,
    NamedEntities,
    ReadingView,
    TorqueView,
    UseView,
    adjustment_view,
    fill_view,
    grease_view,
    guide_view,
    interval_view,
    limit_view,
    reading_view,
    torque_view,
    use_view,
)
from app.questions.answers.views import Caution, ChassisRef, Undecided, chassis_ref
from app.questions.configuration.region import given
from app.questions.sheet.fits import (
    AskedView,
    FitsAsked,
    FitView,
    asked_view,
    chosen_units,
    fit_view,
    serial_codes,
)
from app.questions.sheet.gaps import gaps
from app.questions.sheet.gather import Sheet, gather
from app.units.preferences import Units


class ConfigurationAsked(FitsAsked):
    """A configuration: the parameters of `fits`, and the spring that is fitted."""

    spring: str | None = Field(None, max_length=80, description="Id of the spring assembly that is or will be fitted.")


class SheetAsked(ConfigurationAsked):
    """The parameters of `sheet`: a configuration, and what to compute with it."""

    detail: Literal["preload"] | None = Field(
        None, description="`preload` adds the clamp force of each torque, as far as it can be computed."
    )


class ToolView(TypedDict):
    """A tool of the catalogue that fits a drive on this sheet."""

    id: str
    name: str
    drive: NotRequired[str]


class SheetAnswer(TypedDict):
    """Everything that may apply to the configuration; alternatives differ by scope (see `undecided`)."""

    revision: int
    chassis: ChassisRef
    configuration: AskedView
    fits: list[FitView]
    torques: list[TorqueView]
    fills: list[FillView]
    greases: list[GreaseView]
    uses: list[UseView]
    limits: list[LimitView]
    intervals: list[IntervalView]
    guides: list[GuideView]
    adjustments: list[AdjustmentView]
    readings: list[ReadingView]
    tools: list[ToolView]
    undecided: list[Undecided]
    gaps: list[Gap]
    cautions: list[Caution]


SHEET = TypeAdapter(SheetAnswer)


def sheet(snapshot: Snapshot, chassis: str, asked: SheetAsked) -> SheetAnswer:
    """The answer at one revision. Raises NotFound, Gone, and Invalid for a configuration the chassis cannot have."""
    units = chosen_units(asked)
    wanted = given(
        travel=asked.travel, model_year=asked.model_year, variant=asked.variant, spring=asked.spring,
        damper=asked.damper, wheel_size=asked.wheel_size, serial=asked.serial, fitted_part=asked.fitted_part,
    )  # fmt: skip
    found = gather(snapshot, chassis, wanted)
    answer = sheet_view(found, units)
    if asked.detail == "preload":
        for shown, each in zip(answer["torques"], found.torques, strict=True):
            shown["preload"] = preload(each.statement, found.fasteners[each.statement.fastener], units)
        answer["cautions"] += [caution("computed")]
    return answer


def sheet_view(found: Sheet, units: Units) -> SheetAnswer:
    """The view of the gathered statements."""
    context = found.context
    named = NamedEntities(
        units, context.sources, found.fasteners, found.fluids, context.parts, found.tools, found.dampers
    )
    open_parameters = shown_undecided(found.undecided(), context)
    codes = [*BEFORE_OPENING, "shock-pump-only", "limits", "not-in-the-catalogue", *serial_codes(context, found.wanted)]
    return {
        "revision": context.snapshot.revision,
        "chassis": chassis_ref(context.chassis, context.maker),
        "configuration": asked_view(found.wanted, found.where, units),
        "fits": [fit_view(each, context, found.springs, found.spacers, units) for each in found.fits],
        "torques": [torque_view(each, named) for each in found.torques],
        "fills": [fill_view(each, named) for each in found.fills],
        "greases": [grease_view(each, named) for each in found.greases],
        "uses": [use_view(each, named) for each in found.uses],
        "limits": [limit_view(each, named) for each in found.limits],
        "intervals": [interval_view(each, named) for each in found.intervals],
        "guides": [guide_view(each, named) for each in found.guides],
        "adjustments": [adjustment_view(each, named) for each in found.adjustments],
        "readings": [reading_view(each, named) for each in found.readings],
        "tools": tools_view(found),
        "undecided": open_parameters,
        "gaps": gaps(found),
        "cautions": cautions(*codes, *(["undecided"] if open_parameters else []), sources=context.sources.values()),
    }


def tools_view(found: Sheet) -> list[ToolView]:
    """The tools that fit a drive of a fastener or spacer on the sheet, by name."""
    drives = {drive for each in found.torques for drive in found.fasteners[each.statement.fastener].drives or ()}
    drives |= {drive for spacer in found.spacers.values() for drive in spacer.drives or ()}
    tools = {tool.id: tool for drive in drives for tool in found.tools.get(drive, ())}
    return [
        {"id": tool.id, "name": tool.name, "drive": tool.drive} if tool.drive else {"id": tool.id, "name": tool.name}
        for tool in sorted(tools.values(), key=lambda tool: (tool.name, tool.id))
    ]
