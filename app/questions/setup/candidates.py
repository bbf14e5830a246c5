"""A start pressure for each fit that the fork may have, and the maximum that all of them share."""

from collections.abc import Callable, Sequence

from app.questions.setup.builder import SetupBuilder
from app.questions.setup.limits import KeptLimits, maximum_view
from app.questions.setup.views import SetupAnswer, SetupCandidate, SharedLimits
from app.units.preferences import Units
from app.units.quantity import bare_limit

MOST = 12  # more than this is a list to choose from, not an answer


def put_candidates(
    answer: SetupAnswer,
    work: SetupBuilder,
    answered: Callable[[SetupBuilder], SetupAnswer],
    children: Sequence[SetupBuilder],
) -> None:
    """Add a start pressure for each candidate to the answer; nothing if there are too many."""
    if not children or len(children) > MOST:
        return
    candidates: list[SetupCandidate] = []
    for child in children:
        its = answered(child)
        one: SetupCandidate = {"fit": its["fit"], "limits": its["limits"]}
        if "basis" in its:
            one["basis"] = its["basis"]
        if "start_pressure" in its:
            one["start_pressure"] = its["start_pressure"]
        if "expected" in its.get("sag", {}):
            one["expected_sag"] = its["sag"]["expected"]
        if "coil" in its and "fit" in its["coil"]:
            one["coil"] = its["coil"]["fit"]
        candidates.append(one)
    answer["candidates"] = candidates
    shared = _shared([child.limits for child in children], work.units)
    if shared is not None:
        answer["limits"]["shared"] = shared
        answer["limits"]["text"] = (
            "Each candidate has its own limits; the strictest of each kind is safe for all of them."
        )
    text = "It is still open which of these the fork has: each line is for one of them."
    work.headline = {"what": "candidates", "text": f"{text} {shared['text']}" if shared is not None else text}


def _shared(every: Sequence[KeptLimits], units: Units) -> SharedLimits | None:
    """The strictest maximum, if every candidate states one."""
    shared: SharedLimits = {"text": ""}
    said: list[str] = []
    strictest = [min(each.pressures, key=lambda one: one[2]) for each in every if each.pressures]
    if len(strictest) == len(every):
        row = min(strictest, key=lambda one: one[2])[1]
        limit = maximum_view(row, units)
        if limit is not None:
            shared["pressure"] = limit
            said.append(f"never above {bare_limit(limit)}")
    spacers = [each.spacers for each in every if each.spacers is not None]
    if len(spacers) == len(every):
        shared["spacers"] = min(spacers)
        said.append(f"at most {min(spacers)} volume spacers")
    if not said:
        return None
    shared["text"] = f"Whichever it is: {', '.join(said)}."
    return shared
