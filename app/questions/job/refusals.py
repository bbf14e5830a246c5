"""Why there is no card: each refusal has a stable code, a sentence, and the possible alternatives. Pure.

The status is always 422, because another request would be answered: `no-spring-for-travel` (offers the nearest travel),
`nothing-to-change`, `same-travel`, `spring-kind-differs`, `spacers-over-limit` (how many come out),
`spacer-limit-not-stated`, `no-volume-spacers`, `damper-not-serviceable`, `procedure-unsafe`, `frame-forbids`,
`frame-not-stated`. A sealed damper does not refuse a full service, because the rest of the work makes sense: the damper
is then listed under `not_done`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from app.catalogue.columns import write_number
from app.catalogue.tables import Damper, Fit, Spring
from app.errors import Fault, Invalid
from app.questions.configuration.prevailing import Applicable
from app.questions.configuration.region import Given
from app.questions.fork_check.fork_check import ForkCheck
from app.questions.fork_check.permission import overall
from app.questions.job.conditions import KeptStep, Properties
from app.questions.job.order import broken
from app.questions.job.parameters import JobCardAsked
from app.questions.job.views import NotDone
from app.questions.sheet.fits import prevailing_fits
from app.questions.sheet.gather import Sheet

POSSIBLE = (
    "The rest of the service is on this card. Send the damper to its maker, or to a workshop that its maker names."
)


@dataclass(frozen=True, slots=True)
class Spacers:
    """Volume spacers after the job and now; None if neither given nor stated.

    `as_delivered`: the factory's number, because none was given.
    """

    wanted: int | None
    present: int | None
    as_delivered: bool


def spacers_in(asked: JobCardAsked, fit: Fit, present: Fit) -> Spacers:
    """The number wanted: as given, else as many as are fitted, else as the factory fits."""
    there = asked.from_spacers if asked.from_spacers is not None else present.spacers_fitted
    given = asked.spacers if asked.spacers is not None else asked.from_spacers
    if given is not None:
        return Spacers(given, there, False)
    return Spacers(fit.spacers_fitted, there, fit.spacers_fitted is not None)


def takes_spacers(fit: Fit) -> bool:
    """Whether the catalogue says that volume spacers go in: it names them, or permits a number of them."""
    return fit.spacer is not None or bool(fit.spacer_limit)


def no_spring(found: Sheet, asked: Given, parameter: str) -> Invalid:
    """No fit gives this travel: names the nearest one offered for the rest of the configuration."""
    rest = replace(asked, travel=None, spring=None)
    where = found.context.region(rest, found.offered)
    offered = sorted({each.statement.travel_mm for each in prevailing_fits(found.context, found.offered, rest, where)})
    wanted = None if asked.travel is None else float(asked.travel.value)
    name = found.context.chassis.name
    if not offered or wanted is None:
        given = [asked.spring] if asked.spring else []
        wanted_words = " and ".join([*(f"{write_number(wanted)} mm" for _ in [1] if wanted is not None), *given])
        text = f"No spring is listed for {name} in this configuration{f' ({wanted_words})' if wanted_words else ''}."
        return Invalid.one("no-spring-for-travel", text, parameter=parameter)
    if wanted in offered and asked.spring is not None:
        text = f"{asked.spring} is not listed to give {name} {write_number(wanted)} mm in this configuration."
        spring = "from_spring" if parameter == "from_travel" else "spring"
        return Invalid.one("no-spring-for-travel", text, parameter=spring)
    nearest = min(offered, key=lambda travel: (abs(travel - wanted), travel))
    words = ", ".join(write_number(travel) for travel in offered)
    text = f"No spring is listed that gives {name} {write_number(wanted)} mm here; there is {words} mm."
    fault = Fault("no-spring-for-travel", text, parameter=parameter, suggestion=write_number(nearest))
    return Invalid(text, [fault], offered=offered)


def refuse_job(
    asked: JobCardAsked, fit: Applicable[Fit], present: Applicable[Fit], spring: Spring | None,
    present_spring: Spring | None,
    dampers: Sequence[Damper], spacers: Spacers, steps: Sequence[KeptStep], having: Properties,
) -> None:  # fmt: skip
    """Raises Invalid with every reason why this job cannot be done on this fork."""
    faults: list[Fault] = []
    if asked.job == "travel-change":
        faults += _change(fit, present, spring, present_spring)
    faults += _spacers(asked, fit.statement, spring, spacers)
    faults += broken(steps, spring, having)
    opened = any(each.step.action == "empty" and each.step.chamber == "damper" for each in steps)
    for damper in dampers:
        if opened and damper.kind == "open bath" and damper.serviceable in ("by the maker", "no"):
            who = "by its maker only" if damper.serviceable == "by the maker" else "by no one"
            text = f"{damper.name} may be opened {who}, but this job opens it. Possible: job=lower-leg-service."
            faults.append(Fault("damper-not-serviceable", text, parameter="job", suggestion="lower-leg-service"))
    if faults:
        raise Invalid(faults[0].text if len(faults) == 1 else f"There are {len(faults)} reasons against it.", faults)


def _change(
    fit: Applicable[Fit], present: Applicable[Fit], spring: Spring | None, present_spring: Spring | None
) -> list[Fault]:
    faults = []
    same_spring = fit.statement.spring == present.statement.spring
    if fit.statement.travel_mm == present.statement.travel_mm and same_spring:
        text = f"It already has {write_number(fit.statement.travel_mm)} mm and this spring: there is nothing to change."
        faults.append(Fault("same-travel", text, parameter="to_travel"))
    if spring is not None and present_spring is not None and spring.kind != present_spring.kind:
        text = (
            f"Changing from {present_spring.kind} to {spring.kind} is more than a change of travel: the "
            "catalogue has no order of work for it."
        )
        faults.append(Fault("spring-kind-differs", text, parameter="spring"))
    return faults


def _spacers(asked: JobCardAsked, fit: Fit, spring: Spring | None, spacers: Spacers) -> list[Fault]:
    """Reasons against the volume spacers. Those that a job does not change are still checked against the limit."""
    named = "spacers" if asked.spacers is not None else "from_spacers"
    given = asked.spacers is not None or asked.from_spacers is not None
    coil = spring is not None and spring.kind == "coil"
    if coil and (asked.job == "spacer-change" or (given and spacers.wanted)):
        return [Fault("no-volume-spacers", "A coil spring takes no volume spacers.", parameter="spacers")]
    if asked.job == "spacer-change" and not takes_spacers(fit):
        text = "No volume spacer is listed for this spring in this fork."
        return [Fault("no-volume-spacers", text, parameter="job")]
    if not given or spacers.wanted is None or spacers.wanted == 0:
        return []
    if fit.spacer_limit is None:
        text = (
            "The maximum number of volume spacers for this travel is not in the catalogue; not stated is not permitted."
        )
        return [Fault("spacer-limit-not-stated", text, parameter=named, suggestion="0")]
    over = spacers.wanted - fit.spacer_limit
    if over <= 0:
        return []
    out = "1 comes out" if over == 1 else f"{over} come out"
    text = (
        f"{write_number(fit.travel_mm)} mm may carry at most {fit.spacer_limit} volume spacers, not {spacers.wanted}: "
        f"{out}. Give spacers={fit.spacer_limit}."
    )
    return [Fault("spacers-over-limit", text, parameter=named, suggestion=str(fit.spacer_limit))]


def refuse_frame(check: ForkCheck, changes_travel: bool) -> None:
    """Raises Invalid `frame-forbids` or `frame-not-stated`, with a fault per reason, if the travel is to be changed.

    A service does not change the fork: its card shows the verdict and is not refused.
    """
    judged = check.judged(check.travel_mm)
    allowed = overall(judged)
    if allowed == "yes" or not changes_travel:
        return
    code = "frame-forbids" if allowed == "no" else "frame-not-stated"
    against = [each for each in judged if each.decides and each.verdict == allowed]
    permitted = sorted(travel for travel in check.lengths if overall(check.judged(travel)) == "yes")
    nearest = min(permitted, key=lambda travel: abs(travel - check.travel_mm)) if permitted else None
    tail = "" if nearest is None else f" It would allow {', '.join(write_number(each) for each in permitted)} mm."
    head = "forbids it" if allowed == "no" else "does not state that it is permitted; not stated is not permitted"
    faults = [Fault(code, f"{each.text[:1].upper()}{each.text[1:]}.", parameter="frame") for each in against]
    if nearest is not None:
        faults[0] = Fault(code, faults[0].text, parameter="to_travel", suggestion=write_number(nearest))
    raise Invalid(f"The frame {head}: {against[0].text}.{tail}", faults, allowed=allowed, permitted_travels=permitted)


def not_done(job: str, dampers: Sequence[Damper]) -> list[NotDone]:
    """The damper of a full service if it must stay closed, or if the catalogue does not say whether it may be
    opened.
    """
    if job != "full-service":
        return []
    found: list[NotDone] = []
    for damper in dampers:
        if damper.kind in ("sealed cartridge", "bladder cartridge"):
            charged = "charged with gas behind a bladder" if damper.kind == "bladder cartridge" else "closed for good"
            text = f"{damper.name} is a {damper.kind}, {charged}: do not open it."
            code = "damper-sealed"
        elif damper.kind is None:
            text = f"Whether {damper.name} may be opened is not in the catalogue; not stated is not permitted."
            code = "damper-kind-unknown"
        else:
            continue
        if damper.serviceable == "no":
            text += " Its maker does not service it either: replace it when it fails."
        found.append({"code": code, "about": damper.id, "text": text, "possible": POSSIBLE})
    return found
