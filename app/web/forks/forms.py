"""The HTML forms of the bench log, and how a filled-in form becomes the JSON body that a program would send.

A form has no rules of its own: its body is validated like a program's, and each fault finds its field by its pointer.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import NamedTuple

from app.errors import Fault
from app.json_types import JsonObject
from app.questions.job.choices import Choices, JobChoice
from app.web.reading.form_body import Form
from app.web.representation.words import heading

_WHOLE = re.compile(r"[0-9]{1,6}")
_DECIMAL = re.compile(r"[0-9]{1,9}(\.[0-9]{1,6})?")


class FormField(NamedTuple):
    """One form field: its name, its pointer in the body, its kind, and a hint.

    `kind` is `text`, `lines`, `date`, `whole` (an integer) or `number`; with `choices` it is a pick list, a list of
    ticks if `kind` is `ticks`, or a text field that offers them if `kind` is `offered`. `words` is its label if the
    name is not.
    """

    name: str
    pointer: str
    kind: str = "text"
    hint: str = ""
    choices: Sequence[JobChoice] = ()
    required: bool = False
    words: str = ""

    @property
    def label(self) -> str:
        """The label of the field."""
        return self.words or heading(self.name)


class FieldGroup(NamedTuple):
    """Fields that belong together; `folded` if they are rarely filled in."""

    heading: str
    fields: Sequence[FormField]
    text: str = ""
    folded: bool = False


JOB_NAMES = (
    "job", "done_on", "hours", "riding", "pressure", "sag", "rider_mass", "rebound_clicks", "compression_clicks",
    "clicks_from", "second_pressure", "exposed_stanchion", "axle_to_crown", "spring", "travel", "spacers",
    "travel_spacers", "damper", "note", "job_card", "revision", "sent",
)  # fmt: skip
CLICK_ENDS = (("closed", "from fully closed"), ("open", "from fully open"))
FORK_NAMES = (
    "serial", "chassis", "first_used_on", "riding", "model_year", "variant", "wheel_size", "travel", "spring",
    "spacers", "travel_spacers", "damper",
)  # fmt: skip


def job_form(choices: Choices) -> list[FieldGroup]:
    """The form of a finished job."""
    jobs = [(job, heading(job)) for job in choices.jobs]
    return [
        FieldGroup(
            "The job",
            [
                FormField("job", "/job", choices=jobs, required=True),
                FormField("done_on", "/done_on", "date", "your local date"),
                FormField("hours", "/hours", "number", "total on the fork, if known"),
                _riding(choices),
            ],
        ),
        FieldGroup(
            "Measured after assembly",
            [
                FormField("pressure", "/measured/pressure", hint="in psi, or with its unit: 5 bar"),
                FormField("sag", "/measured/sag", hint="in mm from full extension, at that pressure"),
                FormField("rider_mass", "/measured/rider_mass", hint="in kg, or with its unit: 176 lb"),
                FormField("rebound_clicks", "/measured/rebound_clicks", "whole"),
                FormField("compression_clicks", "/measured/compression_clicks", "whole"),
                FormField("clicks_from", "/measured/clicks_from", hint=choices.clicks_from, choices=CLICK_ENDS),
            ],
            "Enter only what you measured. Empty fields are not recorded.",
        ),
        FieldGroup(
            "Less common measurements",
            [
                FormField("second_pressure", "/measured/second_pressure", hint="of a second chamber, in psi"),
                FormField("exposed_stanchion", "/measured/exposed_stanchion", hint="in mm"),
                FormField("axle_to_crown", "/measured/axle_to_crown", hint="in mm"),
            ],
            folded=True,
        ),
        FieldGroup("Fitted, if different from before", _fitted("/fitted", choices), folded=True),
        FieldGroup("Notes", [FormField("note", "/note", "lines")]),
        FieldGroup("", [FormField("job_card", "/job_card"), FormField("revision", "/revision", "whole")]),
    ]


def fork_form(choices: Choices) -> list[FieldGroup]:
    """The form that registers a fork."""
    return [
        FieldGroup(
            "The fork",
            [
                FormField("serial", "/serial", hint="as stamped on the fork", required=True),
                FormField("first_used_on", "/first_used_on", "date", "service intervals count from this day"),
                _riding(choices),
                FormField("model_year", "/model_year", "whole"),
                FormField("variant", "/variant", choices=choices.variant),
                FormField("wheel_size", "/wheel_size", choices=choices.wheel_size),
            ],
        ),
        FieldGroup("What is fitted", _fitted("", choices), "Leave empty what you do not know."),
        FieldGroup("", [FormField("chassis", "/chassis")]),
    ]


def _riding(choices: Choices) -> FormField:
    """The kind of riding, which decides the intervals."""
    return FormField(
        "riding", "/riding", hint="sets the service intervals; if empty, the strictest apply", choices=choices.riding
    )


def _fitted(place: str, choices: Choices) -> list[FormField]:
    return [
        FormField("spring", f"{place}/spring", choices=choices.spring),
        FormField("travel", f"{place}/travel", hint="in mm"),
        FormField("spacers", f"{place}/spacers", "whole", "total number"),
        FormField("travel_spacers", f"{place}/travel_spacers", "whole", "total number"),
        FormField("damper", f"{place}/damper", choices=choices.damper),
    ]


def body_of(form: Form, groups: Sequence[FieldGroup]) -> JsonObject:
    """The form's values as the body of a request. Text that is not a number stays text, for validation to refuse."""
    body: JsonObject = {}
    for field in _fields(groups):
        if typed := form.get(field.name):
            *outer, last = field.pointer.split("/")[1:]
            inner = body
            for name in outer:
                inner = inner.setdefault(name, {})
            inner[last] = _value(field.kind, typed)
    return body


def _value(kind: str, typed: str) -> object:
    if kind == "whole" and _WHOLE.fullmatch(typed):
        return int(typed)
    return Decimal(typed) if kind == "number" and _DECIMAL.fullmatch(typed) else typed


def beside(faults: Sequence[Fault], groups: Sequence[FieldGroup]) -> tuple[Mapping[str, str], list[str]]:
    """The faults by field name, and the texts of faults that belong to no field."""
    names = {field.pointer: field.name for group in groups if group.heading for field in group.fields}
    found: dict[str, str] = {}
    others: list[str] = []
    for fault in faults:
        if fault.pointer in names:
            found.setdefault(names[fault.pointer], fault.text)
        else:
            others.append(fault.text)
    return found, others


def _fields(groups: Sequence[FieldGroup]) -> Iterator[FormField]:
    for group in groups:
        yield from group.fields


ORDER_NAMES = ("serial", "bike", "order_number", "promised", "done_by", "fork", "version", "sent")


def order_form(forks: Sequence[JobChoice] = ()) -> list[FieldGroup]:
    """The form of a work order's fields; `forks` are the forks of the log that it may be for."""
    fields = [
        FormField("serial", "/serial", hint="serial number, or the tag of a hire bike"),
        FormField("bike", "/bike"),
        FormField("order_number", "/order_number"),
        FormField("promised", "/promised", "date", "the day it is to be ready"),
        FormField("done_by", "/done_by"),
    ]
    if forks:
        fields.append(FormField("fork", "/fork", hint="the fork in the bench log", choices=forks))
    return [FieldGroup("The order", fields, "Fill in what you know; you can change it later.")]


def finish_form(choices: Choices) -> list[FieldGroup]:
    """The form that records the job of a work order: the form of a finished job, without what the order says itself."""
    groups = [group for group in job_form(choices) if group.heading]
    return [
        group._replace(fields=[field for field in group.fields if field.name != "job"], folded=False)
        if group.heading == "The job"
        else group
        for group in groups
    ]


def typed_of(body: JsonObject, groups: Sequence[FieldGroup]) -> dict[str, str]:
    """The values of a body as a form shows them: text by field name."""
    found: dict[str, str] = {}
    for field in _fields(groups):
        value: object = body
        for name in field.pointer.split("/")[1:]:
            value = value.get(name) if isinstance(value, dict) else None
        if value is not None:
            found[field.name] = str(value)
    return found
