"""The text of a step that fits travel or volume spacers, from the present and the wanted number."""

from app.questions.job.plan import Plan


def travel_spacer_words(plan: Plan) -> str | None:
    """The step at the spring shaft; None if the catalogue does not give the number of travel spacers."""
    fit, present = plan.fit.statement, plan.present_fit.statement
    wanted = fit.travel_spacers
    if wanted is None:
        return None
    there = (present.travel_spacers or 0) if present.travel_spacer in (None, fit.travel_spacer) else None
    home = "Snap each fully home." if wanted > 1 else "Snap it fully home."
    if plan.job != "travel-change" or there == wanted:
        if wanted == 0:
            return "No travel spacer goes on the spring shaft at this travel: check that there is none."
        return f"Check that the spring shaft carries {_spacers(wanted, 'travel')}. {home}"
    if there is None:
        return f"Fit {_spacers(wanted, 'travel')} to the spring shaft. {home}"
    change = f"({there} → {wanted})"
    if wanted > there:
        return f"Add {_spacers(wanted - there, 'travel')} to the spring shaft {change}. {home}"
    if wanted == 0:
        return f"Remove {_all(there, 'travel')} {change}."
    return f"Remove {_spacers(there - wanted, 'travel')} {change}. {home}"


def volume_spacer_words(plan: Plan) -> str | None:
    """The step at the spacer stack on the cap; None if the wanted number is unknown.

    The stack keeps its torque: `{torque}` stays in the text as a placeholder.
    """
    wanted, there = plan.spacers, plan.present_spacers
    if wanted is None:
        return None
    limit = plan.fit.statement.spacer_limit
    most = (
        "the maximum for this travel is not in the catalogue" if limit is None else f"maximum {limit} for this travel"
    )
    change = "" if there is None or there == wanted else f" ({there} → {wanted})"
    if wanted == 0:
        if not there:
            return f"No volume spacer goes on the cap; {most}. If a spacer stack stays, tighten it to {{torque}}."
        return f"Remove {_all(there, 'volume')}{change}; {most}. If a spacer stack stays, tighten it to {{torque}}."
    bring = "Leave the volume spacers on the cap at" if there == wanted else "Bring the volume spacers on the cap to"
    return f"{bring} {wanted} in all{change}; {most}. Tighten the stack to {{torque}}."


def _spacers(count: int, kind: str) -> str:
    return f"{count} {kind} spacer{'' if count == 1 else 's'}"


def _all(count: int, kind: str) -> str:
    if count == 1:
        return f"the {kind} spacer"
    return f"both {kind} spacers" if count == 2 else f"all {count} {kind} spacers"
