"""The plan of a job: the fork now and after the job, the order of work, and the statements it needs; or a refusal.

Every deciding parameter is named at once; nothing undecided reaches a card.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from math import inf
from typing import Any

from app.catalogue.agreement import pascals
from app.catalogue.rows import Snapshot
from app.catalogue.scopes import Scope
from app.catalogue.tables import AirChamber, Damper, Fastener, Fit, Limit, Part, Procedure, Spring, Use
from app.errors import Fault, Invalid
from app.questions.answers.gap import Gap
from app.questions.answers.open_choices import as_asked, names_of
from app.questions.configuration.chassis_context import ChassisContext
from app.questions.configuration.prevailing import Applicable, undecided
from app.questions.configuration.region import Given
from app.questions.configuration.spring_travel import with_travel_of_spring
from app.questions.job.conditions import KeptStep, Properties, kept, properties, whose, words
from app.questions.job.filling_order import filling_order, in_filling_order
from app.questions.job.parameters import JobCardAsked, JobName, ends, renamed
from app.questions.job.procedure import procedure_for, steps_of
from app.questions.job.refusals import no_spring, refuse_job, spacers_in, takes_spacers
from app.questions.setup.parameters import circumstances
from app.questions.setup.setup import setup_of
from app.questions.setup.views import SetupAnswer
from app.questions.sheet.fits import prevailing_fits
from app.questions.sheet.gather import Sheet, gather
from app.units.preferences import Units

OpenInPlan = dict[str, list[str | int | float]]


@dataclass(slots=True)
class Plan:
    """Everything a card is made of.

    `spacers` are the volume spacers after the job, `present_spacers` those fitted now.
    """

    snapshot: Snapshot
    job: JobName
    units: Units
    found: Sheet
    present: Given
    fit: Applicable[Fit]
    present_fit: Applicable[Fit]
    spring: Spring | None
    present_spring: Spring | None
    dampers: list[Damper]
    spacers: int | None
    spacers_as_delivered: bool
    present_spacers: int | None
    procedure: Procedure
    kept: list[KeptStep]
    uses: list[Applicable[Use]]
    fasteners: list[Fastener]
    setup: SetupAnswer
    travel_spacer: Part | None  # the kind that the shaft carries after the job
    filling_order: list[AirChamber]  # empty if the catalogue does not give it
    serial_unread: bool  # a serial was given that decides nothing: figures that depend on it are shown with their range
    gaps: list[Gap] = field(default_factory=list)

    @property
    def new_spring(self) -> bool:
        """Whether the job fits another spring."""
        return self.fit.statement.spring != self.present_fit.statement.spring

    def miss(self, what: str, about: str | None, why: str, text: str) -> None:
        """Record something that the card needs and the catalogue does not give, once."""
        gap: Gap = {"what": what, "why_needed": why, "text": text}
        if about is not None:
            gap["about"] = about
        if gap not in self.gaps:
            self.gaps.append(gap)

    def at_position(self, position: str) -> list[Fastener]:
        """The fasteners of a position, in order of side and id."""
        return [row for row in self.fasteners if row.position == position]


def planned(snapshot: Snapshot, chassis: str, asked: JobCardAsked, units: Units) -> Plan:
    """Read the parameters, look up, decide.

    Raises NotFound, Gone, and Invalid with every reason why there is no card.
    """
    both = ends(asked)
    how = circumstances(asked)
    with renamed(travel="to_travel" if asked.job == "travel-change" else "travel"):
        found = gather(snapshot, chassis, both.wanted)
    present, present_fits, open_present = _present(found, both.present, asked.job)
    if not found.fits:
        raise no_spring(found, both.wanted, "to_travel" if asked.job == "travel-change" else "travel")
    procedure, rivals = procedure_for(snapshot, found, asked.job)
    may_be = {found.springs.get(each.statement.spring) for each in found.fits}
    dampers = [found.dampers[id] for id in sorted(found.dampers)]
    having = _properties(found, may_be.pop() if len(may_be) == 1 else None, dampers)
    steps = kept(steps_of(snapshot, procedure), having)
    uses = [each for each in found.uses if each.statement.job == asked.job]
    open_parameters = _open(asked, found, steps, uses, rivals, present_fits, open_present)
    if open_parameters.get("to_travel") == []:
        text = "The catalogue lists no other travel and no other spring for this fork: there is nothing to change to."
        raise Invalid.one("nothing-to-change", text, parameter="to_travel")
    serial_unread = found.context.serial_is_unread(both.wanted)
    if serial_unread:
        open_parameters.pop("serial", None)
    if open_parameters:
        raise _undecided(open_parameters, found.context, asked)
    fit = _one(found.fits, "to_travel", serial_unread)
    other_fits, found.fits = [each for each in found.fits if each is not fit], [fit]
    present_fit = fit if asked.job != "travel-change" else _one(present_fits, "from_travel", serial_unread)
    spacers = spacers_in(asked, fit.statement, present_fit.statement)
    springs = found.springs | snapshot.many(Spring, {present_fit.statement.spring})
    spring, present_spring = (springs.get(each.statement.spring) for each in (fit, present_fit))
    refuse_job(asked, fit, present_fit, spring, present_spring, dampers, spacers, steps, having)
    setup = setup_of(found, replace(how, spacers=spacers.wanted), units, curves=False)
    in_setup: OpenInPlan = {each["parameter"]: [*each["values"]] for each in setup["undecided"]}
    if serial_unread:
        in_setup.pop("serial", None)
    if in_setup:
        raise _undecided(in_setup, found.context, asked)
    spacer = fit.statement.travel_spacer
    chambers = () if spring is None else found.chambers_of(spring.id)
    order = filling_order(spring, chambers)
    plan = Plan(
        snapshot=snapshot,
        job=asked.job, units=units, found=found, present=present, fit=fit, present_fit=present_fit,
        spring=spring, present_spring=present_spring,
        dampers=dampers, spacers=spacers.wanted, spacers_as_delivered=spacers.as_delivered,
        present_spacers=spacers.present, procedure=procedure, kept=in_filling_order(steps, order), uses=uses,
        filling_order=order,
        fasteners=_fasteners(found, fit.statement.spring), setup=setup,
        travel_spacer=None if spacer is None else snapshot.one(Part, spacer), serial_unread=serial_unread,
    )  # fmt: skip
    if serial_unread:
        _miss_serial(plan, other_fits, rivals)
    for name in dict.fromkeys(name for step in steps for name in step.open):
        _miss_property(plan, name)
    if spring is not None and spring.kind == "air" and spring.negative is None:
        _miss_property(plan, "negative")
    return plan


def _properties(found: Sheet, spring: Spring | None, dampers: list[Damper]) -> Properties:
    """The properties of the fork that the steps depend on."""
    springs = (None, *(each.statement.spring for each in found.fits))
    chambers = () if spring is None else found.chambers_of(spring.id)
    fasteners = [row for row in found.fasteners.values() if row.spring in springs]
    kinds = {part.kind for each in found.uses if (part := found.context.parts.get(each.statement.part)) is not None}
    return properties(found.context.chassis, spring, dampers, fasteners, kinds, chambers)


def _present(found: Sheet, present: Given, job: JobName) -> tuple[Given, list[Applicable[Fit]], OpenInPlan]:
    """The fork now, its fits, and the parameters that would decide between them."""
    if job != "travel-change":
        return found.wanted, found.fits, {}
    with renamed(travel="from_travel", spring="from_spring"):
        present = with_travel_of_spring(found.context, found.offered, present)
        where = found.context.region(present, found.offered)
    fits = prevailing_fits(found.context, found.offered, present, where)
    if not fits:
        raise no_spring(found, present, "from_travel")
    choices = found.context.choices(where, found.offered)
    open_parameters = undecided(fits, where, choices)
    if present.travel is None:
        open_parameters["from_travel"] = sorted({each.statement.travel_mm for each in fits})
    springs = {each.statement.spring for each in fits}
    wanted = {each.statement.spring for each in found.fits}
    kinds = {spring.kind for spring in found.context.snapshot.many(Spring, springs).values()}
    if len(springs) > 1 and (springs & wanted or len(kinds) > 1):
        open_parameters["from_spring"] = sorted(springs)
    open_parameters.pop("spring", None)
    return present, fits, open_parameters


def _open(
    asked: JobCardAsked, found: Sheet, steps: Sequence[KeptStep], uses: Sequence[Applicable[Use]],
    rivals: OpenInPlan, present_fits: Sequence[Applicable[Fit]], present: OpenInPlan,
) -> OpenInPlan:  # fmt: skip
    """Each parameter that would decide something on the card, with its possible values."""
    choices = found.context.choices(found.where, found.offered)
    open_parameters: OpenInPlan = dict(present)
    for shown in _taken(found, asked.job, steps, uses):
        for name, values in undecided(shown, found.where, choices).items():
            open_parameters[name] = list(dict.fromkeys([*open_parameters.get(name, []), *values]))
    for name, values in rivals.items():
        open_parameters.setdefault(name, values)
    if len({each.statement.spring for each in found.fits}) > 1:
        open_parameters.setdefault("spring", sorted({each.statement.spring for each in found.fits}))
    if found.wanted.travel is None:
        open_parameters.setdefault("travel", sorted({fit.travel_mm for fit in found.offered}))
    of_damper = any(name in ("foot_joint", "adjuster_at", "damper_kind") for each in steps for name in each.open)
    if len(found.dampers) > 1 and of_damper:
        open_parameters.setdefault("damper", sorted(found.dampers))
    if asked.job == "spacer-change" and asked.spacers is None:
        limits = [each.statement.spacer_limit or 0 for each in found.fits if takes_spacers(each.statement)]
        open_parameters.update({"spacers": list(range(min(limits) + 1))} if limits else {})
    changed = _other_fits(found.fits, present_fits) if asked.job == "travel-change" else found.fits
    for name in ("travel", "spring", "wheel_size", "variant", "damper"):
        if name in open_parameters:
            fits = changed if name in ("travel", "spring") else found.fits
            open_parameters[name] = _still_possible(name, open_parameters[name], fits)
    if asked.job == "travel-change" and "travel" in open_parameters:
        open_parameters["to_travel"] = open_parameters.pop("travel")
    return open_parameters


def _other_fits(fits: Sequence[Applicable[Fit]], present: Sequence[Applicable[Fit]]) -> Sequence[Applicable[Fit]]:
    """The fits with another travel or another spring than the fork has now; all fits if that is not known yet."""
    now = {(each.statement.travel_mm, each.statement.spring) for each in present}
    if len(now) > 1:
        return fits
    return [each for each in fits if (each.statement.travel_mm, each.statement.spring) not in now]


def _still_possible(
    name: str, values: Sequence[str | int | float], fits: Sequence[Applicable[Fit]]
) -> list[str | int | float]:
    """The values with which some fit is left, given everything chosen so far."""
    column = {"travel": "travel_mm"}.get(name, name)
    listed: set[object] = set()
    for each in fits:
        value = each.statement[column]
        listed.update(value if isinstance(value, tuple) else (value,))
    return list(values) if None in listed else [value for value in values if value in listed]


def _taken(
    found: Sheet, job: JobName, steps: Sequence[KeptStep], uses: Sequence[Applicable[Use]]
) -> tuple[Iterable[Applicable[Any]], ...]:
    """The statements of the sheet that the card shows; of the set-up only those for the rider."""
    positions = {each.step.fastener_position for each in steps}
    chambers = {each.step.chamber for each in steps if each.step.action == "fill"}
    places = {each.step.place for each in steps}
    return (
        found.fits,
        [each for each in found.torques if found.fasteners[each.statement.fastener].position in positions],
        [each for each in found.fills if each.statement.chamber in chambers],
        [each for each in found.greases if each.statement.place in places],
        uses,
        limits_of_job(found.limits, job, steps),
    )


def limits_of_job(
    limits: Sequence[Applicable[Limit]], job: JobName, steps: Sequence[KeptStep]
) -> list[Applicable[Limit]]:
    """The limits that the job can prove: not those of tyre, rotor or steerer if it does not touch them."""
    positions = {each.step.fastener_position for each in steps}
    of_job = {
        "tyre diameter": job == "travel-change",
        "tyre width": job == "travel-change",
        "rider mass": job == "travel-change",
        "rotor diameter": False,
        "steerer above the crown": False,
        "bushing play": job != "spacer-change",
        "stanchion height in the crown": bool({"upper crown bolt", "lower crown bolt"} & positions),
    }
    return [each for each in limits if of_job.get(each.statement.subject, True)]


def _undecided(found: OpenInPlan, context: ChassisContext, asked: JobCardAsked) -> Invalid:
    """One fault `undecided` per parameter, with its possible values and the names of earlier choices."""
    detail = f"Not decided yet: {', '.join(found)}. A card is made for one configuration only."
    faults = [_undecided_fault(name, values, asked) for name, values in found.items()]
    shown: list[dict[str, object]] = []
    for name, values in found.items():
        names = names_of(context, name, values)
        shown.append({"parameter": name, "values": as_asked(values), **({"names": names} if names else {})})
    chosen = {}
    for name in ("variant", "spring", "from_spring", "damper", "fitted_part"):
        if (id := getattr(asked, name)) is not None:
            chosen[name] = names_of(context, name, [id])[0]
    maker = "" if context.maker is None else f"{context.maker.name} "
    return Invalid(detail, faults, undecided=shown, about=f"{maker}{context.chassis.name}", chosen=chosen)


def _miss_serial(plan: Plan, fits: Sequence[Applicable[Fit]], rivals: OpenInPlan) -> None:
    """Name what a card for a serial that cannot be read does not follow: another fit, another order of work."""
    why = "which of them applies depends on the serial number"
    for each in fits:
        fit = f"the fit is {each.statement.id}, with limits of its own"
        text = f"For {serials_of(each.scope)} {fit}. Read the stamp and compare."
        plan.miss("serial", each.statement.id, why, text)
    if "serial" in rivals:
        ranges = " or ".join(map(str, rivals["serial"]))
        text = f"For serial numbers {ranges} there is another order of work. Read the stamp and compare."
        plan.miss("serial", plan.procedure.id, why, text)


def serials_of(scope: Scope) -> str:
    """The serial numbers that one of several figures is for."""
    return "other serial numbers" if scope.serials is None else f"serial numbers {scope.serials.text}"


def _undecided_fault(name: str, values: Sequence[str | int | float], asked: JobCardAsked) -> Fault:
    shown = as_asked(values[:12])
    more = f" and {len(values) - 12} more" if len(values) > 12 else ""
    if name == "serial":
        text = f"Give serial: the work depends on it. The work differs for serial numbers {' or '.join(shown)}{more}."
        text += " If the stamp cannot be read, give what can be read: the card then shows every figure with its range."
        return Fault("undecided", text, parameter=name)
    possible = f"Possible: {', '.join(shown)}{more}." if shown else "The catalogue lists none."
    text = f"Give {name}: the work depends on it. {possible}"
    return Fault("undecided", text, parameter=name, suggestion=shown[0] if len(shown) == 1 else None)


def _one(fits: Sequence[Applicable[Fit]], parameter: str, serial_unread: bool) -> Applicable[Fit]:
    """The fit that is left when everything is decided. Raises Invalid `sources-disagree` if there are two.

    A spring that is taken out anyway may be any of them: it is already known not to be the wanted one. Of fits that
    differ by a serial that cannot be read, the one with the lowest limits.
    """
    if serial_unread and all(set(each.open_in) <= {"serial"} for each in fits):
        return min(fits, key=_limits)
    if parameter == "to_travel" and len(fits) > 1:
        ids = ", ".join(each.statement.id for each in fits)
        raise Invalid.one("sources-disagree", f"Several fits apply here and differ: {ids}.", parameter=parameter)
    return fits[0]


def _limits(each: Applicable[Fit]) -> tuple[float, float]:
    fit = each.statement
    pressure = pascals(fit.pressure_limit, fit.pressure_unit)
    return inf if pressure is None else float(pressure), inf if fit.spacer_limit is None else fit.spacer_limit


def _fasteners(found: Sheet, spring: str) -> list[Fastener]:
    """The fasteners of this fork, in order of position, side and id."""
    low, high = found.where.years
    return sorted(
        (
            row
            for row in found.fasteners.values()
            if row.spring in (None, spring)
            and (row.damper is None or row.damper in found.dampers)
            and (row.model_year_from is None or row.model_year_from <= low)
            and (row.model_year_to is None or row.model_year_to >= high)
        ),
        key=lambda row: (row.position, row.side != "spring side", row.side or "", row.id),
    )


def _miss_property(plan: Plan, name: str) -> None:
    part = whose(name)
    about = {
        "chassis": plan.found.context.chassis.id,
        "spring": plan.fit.statement.spring,
        "damper": next(iter(sorted(plan.found.dampers)), None),
    }[part]
    text = f"The catalogue does not say of the {part} what {words(name)}: look before the step that depends on it."
    plan.miss(name.replace("_", "-"), about, "some steps depend on it", text)
