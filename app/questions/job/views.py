"""The shape of a job card. A value missing in the catalogue is a blank line in the text and is listed under `gaps`."""

from typing import Literal, NotRequired

from pydantic import TypeAdapter
from typing_extensions import TypedDict

from app.json_types import JsonObject
from app.questions.answers.gap import Gap
from app.questions.answers.statement_views import (
    AdjustmentView,
    FillView,
    GreaseView,
    GuideView,
    LimitView,
    TorqueView,
)
from app.questions.answers.views import Caution, ChassisRef, SourceRef, SpringRef, Undecided
from app.questions.fork_check.fork_check import ReasonView
from app.questions.job.parameters import JobName
from app.questions.setup.views import (
    AltitudeView,
    BandView,
    Basis,
    ChamberView,
    Coil,
    Headline,
    SagView,
    SetupLimits,
    TravelChange,
)
from app.questions.sheet.fits import AskedView, FitView
from app.units.quantity import Quantity

BLANK = "____"
"""Shown if the catalogue gives no figure: a line to write on."""

Verdict = Literal["yes", "no", "not stated"]


class ProcedureRef(TypedDict):
    """The order of work that the card follows. `text` is present if it is common practice, not a maker's."""

    id: str
    name: str
    text: NotRequired[str]
    source: NotRequired[SourceRef]


class PartNeeded(TypedDict):
    """A part to buy or lay out.

    `count` is absent if the catalogue gives none; `packs` of `pack_count` pieces cover it. `when` is from the source:
    always, if worn, if opened.
    """

    id: str
    name: str
    kind: NotRequired[str]
    part_number: NotRequired[str]
    superseded_by: NotRequired[str]
    position: NotRequired[str]
    count: NotRequired[int]
    pack_count: NotRequired[int]
    packs: NotRequired[int]
    when: str
    text: NotRequired[str]
    statements: list[str]


class ToolNeeded(TypedDict):
    """A tool and its steps, in order of use.

    `any_of`: any of these tools will do. A torque wrench has no id but a torque range (`smallest`, `largest`) and the
    highest marked maximum that still measures the smallest.
    """

    id: NotRequired[str]
    name: str
    drive: NotRequired[str]
    any_of: NotRequired[list[str]]
    smallest: NotRequired[Quantity]
    largest: NotRequired[Quantity]
    marked_maximum_at_most: NotRequired[Quantity]
    steps: list[int]
    text: NotRequired[str]


class Pack(TypedDict):
    """A number of packs of one size."""

    size: Quantity
    count: int


class Consumable(TypedDict):
    """An oil, grease or thread preparation. `need` is the sum of the fills; greases are given in words only."""

    id: NotRequired[str]
    name: str
    kind: NotRequired[str]
    need: NotRequired[Quantity]
    with_allowance: NotRequired[Quantity]
    packs: list[Pack]
    used_for: list[str]
    text: NotRequired[str]
    statements: list[str]


class StepFigure(TypedDict):
    """A figure set or proved at a step: its name, and its text with unit; `value` is absent for turns."""

    what: str
    value: NotRequired[Quantity]
    text: str


class StepView(TypedDict):
    """One step. `tools` are names, `figures` are set or proved at the step.

    `torque` has one entry for each fastener and stage of the position. `condition` is present if the catalogue does not
    say whether the step applies. `statements` are all rows with figures in the text.
    """

    number: int
    step: str
    action: str
    text: str
    condition: NotRequired[str]
    torque: NotRequired[list[TorqueView]]
    fill: NotRequired[FillView]
    grease: NotRequired[GreaseView]
    figures: list[StepFigure]
    parts: list[PartNeeded]
    tools: list[str]
    measures: list[str]
    cautions: list[Caution]
    statements: list[str]


class ToWrite(TypedDict):
    """Something to measure and write down; `value` is a blank line."""

    step: int
    what: str
    value: str


class Check(TypedDict):
    """A check that proves the work, with the figure to compare with if the catalogue gives one."""

    what: str
    text: str
    value: NotRequired[Quantity]
    limit: NotRequired[LimitView]
    statements: list[str]


class JobSettings(TypedDict):
    """Set-up after assembly: the part of `setup` that a mechanic sets."""

    headline: NotRequired[Headline]
    spacers: NotRequired[int]
    basis: NotRequired[Basis]
    start_pressure: NotRequired[Quantity]
    band: NotRequired[BandView]
    chambers: NotRequired[list[ChamberView]]
    altitude: NotRequired[AltitudeView]
    sag: NotRequired[SagView]
    coil: NotRequired[Coil]
    travel_change: NotRequired[TravelChange]
    limits: SetupLimits
    published: list[GuideView]
    adjustments: list[AdjustmentView]
    adjusted: NotRequired[list[GuideView]]
    text: str


class NotDone(TypedDict):
    """A part of the job that is not done on this fork: the reason, and what is possible."""

    code: str
    about: str
    text: str
    possible: str


class CardCaution(Caution):
    """A caution, given once: at the `top` of the card, at the steps that need it (`steps`), or at the `end`."""

    place: Literal["top", "step", "end"]
    steps: NotRequired[list[int]]


class FrameVerdict(TypedDict):
    """The frame's verdict on the fork after the job."""

    id: str
    allowed: Verdict
    reasons: list[ReasonView]


class JobCardAnswer(TypedDict):
    """Ordered work for one job: every figure is from a statement, or a blank line."""

    revision: int
    job: JobName
    chassis: ChassisRef
    procedure: ProcedureRef
    present: AskedView
    configuration: AskedView
    present_spring: NotRequired[SpringRef]
    fit: FitView
    frame: NotRequired[FrameVerdict]
    steps: list[StepView]
    parts: list[PartNeeded]
    tools: list[ToolNeeded]
    consumables: list[Consumable]
    torques: list[TorqueView]
    settings: JobSettings
    write_down: list[ToWrite]
    checks: list[Check]
    label: list[str]
    not_done: list[NotDone]
    undecided: list[Undecided]
    gaps: list[Gap]
    cautions: list[CardCaution]


class ShoppingList(TypedDict):
    """The combined needs of several cards: counts and volumes are sums, and packs are computed for the sum."""

    parts: list[PartNeeded]
    consumables: list[Consumable]


class CardOfFleet(TypedDict):
    """One card of several, or a problem detail if there is none."""

    index: int
    status: int
    card: NotRequired[JobCardAnswer]
    problem: NotRequired[JsonObject]


class FleetAnswer(TypedDict):
    """Each card with its own status, and one shopping list for all cards that were made."""

    revision: int
    cards: list[CardOfFleet]
    made: int
    refused: int
    shopping_list: ShoppingList
    cautions: list[Caution]


JOB_CARD = TypeAdapter(JobCardAnswer)
FLEET = TypeAdapter(FleetAnswer)
