"""Parts to buy and lay out: every use of the job, the spring and spacers of the change, single-use fasteners."""

from collections.abc import Iterable
from math import ceil

from app.catalogue.tables import Fit, Use
from app.questions.answers.statement_views import NamedEntities, part_view
from app.questions.configuration.prevailing import Applicable
from app.questions.job.plan import Plan
from app.questions.job.views import PartNeeded

Turned = Iterable[tuple[str, str, int]]
"""Single-use fasteners that the job turns: id, position, count."""


def parts_needed(plan: Plan, named: NamedEntities, replaced: Turned) -> list[PartNeeded]:
    """All parts of the job: those of the change first, then the uses, then single-use fasteners."""
    found = [*_new_spring(plan), *travel_spacer(plan), *volume_spacer(plan)]
    found += [of_use(each, plan, named) for each in plan.uses]
    kinds = {each.get("kind") for each in found}
    for id, position, count in replaced:
        if position not in kinds:
            text = f"{id} is single-use and no part is listed for it: buy new ones from its maker."
            plan.miss("part", id, "single-use fasteners must be bought new", text)
            found.append(
                {"id": id, "name": f"new {position}", "kind": position, "position": position, "count": count,
                 "when": "always", "text": text, "statements": [id]}
            )  # fmt: skip
    return found


def of_use(each: Applicable[Use], plan: Plan, named: NamedEntities) -> PartNeeded:
    """A use as a part to buy; its count is a gap if the source gives none."""
    row = each.statement
    part = part_view(row.part, named)
    needed: PartNeeded = {
        "id": row.part, "name": part["name"], "when": row.when or "always", "statements": [row.id],
    }  # fmt: skip
    if "kind" in part:
        needed["kind"] = part["kind"]
    if "part_number" in part:
        needed["part_number"] = part["part_number"]
    if "superseded_by" in part:
        needed["superseded_by"] = part["superseded_by"]
    if row.position is not None:
        needed["position"] = row.position
    if row.note is not None:
        needed["text"] = row.note
    if "pack_count" in part:
        needed["pack_count"] = part["pack_count"]
    if row.count is None:
        text = f"The catalogue does not say how many of {row.part} the job needs."
        plan.miss("count", row.id, "you need them before you start", text)
    else:
        needed["count"] = row.count
    return packed(needed)


def packed(needed: PartNeeded) -> PartNeeded:
    """Add the packs for the count; none if the pack size is unknown."""
    if "count" in needed and "pack_count" in needed:
        needed["packs"] = ceil(needed["count"] / needed["pack_count"])
    return needed


def _new_spring(plan: Plan) -> list[PartNeeded]:
    if not plan.new_spring:
        return []
    fit = plan.fit.statement
    spring = plan.spring
    needed: PartNeeded = {
        "id": fit.spring, "name": fit.spring if spring is None else spring.name, "kind": "spring", "count": 1,
        "when": "always", "position": "spring side", "statements": [fit.id],
    }  # fmt: skip
    if spring is not None and spring.part_number is not None:
        needed["part_number"] = spring.part_number
    if spring is not None and spring.superseded_by is not None:
        needed["superseded_by"] = spring.superseded_by
        needed["text"] = (
            f"Superseded by {spring.superseded_by}: use a card for that one if you can only get the new part."
        )
    return [needed]


def travel_spacer(plan: Plan, *, total: bool = False) -> list[PartNeeded]:
    """The travel spacers to add to those on the shaft; `total`: all that it carries afterwards."""
    fit, present = plan.fit.statement, plan.present_fit.statement
    if fit.travel_spacer is None or fit.travel_spacers is None:
        return []
    there = _there(fit, present)
    count = fit.travel_spacers if total else fit.travel_spacers - there
    if count == 0 or (count < 0 and plan.job != "travel-change"):
        return []
    part = plan.travel_spacer
    needed: PartNeeded = {
        "id": fit.travel_spacer, "name": fit.travel_spacer if part is None else part.name, "kind": "travel spacer",
        "position": "spring shaft", "count": max(count, 0), "when": "always", "statements": [fit.id],
    }  # fmt: skip
    if count < 0:
        needed["text"] = _out(-count, there, "on the shaft", "off")
    elif not total and there:
        needed["text"] = f"{there} {'is' if there == 1 else 'are'} on the shaft already."
    if part is not None and part.part_number is not None:
        needed["part_number"] = part.part_number
    if part is not None and part.pack_count is not None:
        needed["pack_count"] = part.pack_count
    return [packed(needed)]


def _there(fit: Fit, present: Fit) -> int:
    """How many of a fit's travel spacers are already on the shaft; a coil is changed on the same shaft."""
    return present.travel_spacers or 0 if present.travel_spacer == fit.travel_spacer else 0


def volume_spacer(plan: Plan, *, total: bool = False) -> list[PartNeeded]:
    """The volume spacers to add to those in the fork; `total`: all that are in it afterwards. None for a service."""
    fit, present = plan.fit.statement, plan.present_fit.statement
    if fit.spacer is None or plan.spacers is None or (not total and plan.job not in ("travel-change", "spacer-change")):
        return []
    there = plan.present_spacers if present.spacer == fit.spacer else 0
    count = plan.spacers if total or there is None else plan.spacers - there
    if count == 0:
        return []
    spacer = plan.found.spacers.get(fit.spacer)
    needed: PartNeeded = {
        "id": fit.spacer, "name": fit.spacer if spacer is None else spacer.name, "kind": "volume spacer",
        "position": "top cap", "count": max(count, 0), "when": "always", "statements": [fit.id],
    }  # fmt: skip
    if count < 0:
        needed["text"] = _out(-count, there or 0, "in it", "out")
    elif not total and there is None:
        needed["text"] = "Minus those already in it, whose number is unknown."
    elif not total and there:
        needed["text"] = f"{there} {'is' if there == 1 else 'are'} in it already."
    return [needed]


def _out(count: int, there: int, where: str, how: str) -> str:
    """The spacers that come out and are kept."""
    if count == there:
        return f"{'The one' if there == 1 else f'All {there}'} {where} {'comes' if there == 1 else 'come'} {how}: keep."
    return f"Of the {there} {where} {count} {'comes' if count == 1 else 'come'} {how}: keep."
