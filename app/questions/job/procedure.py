"""The order of work for a card: the most specific procedure for the job whose scope includes the fork."""

from typing import Any

from app.catalogue.rows import Snapshot
from app.catalogue.scopes import Scope, narrower
from app.catalogue.tables import Procedure, Step
from app.catalogue.words import meant
from app.errors import Invalid
from app.questions.configuration.prevailing import Applicable, undecided
from app.questions.job.parameters import JOB_WORDS, JobName
from app.questions.sheet.gather import Sheet

COMMON, COMMON_PRACTICE = "common-", "common-practice"
"""How the ids of the orders of work in `app/orders` begin, and the id of their source."""


def procedure_for(
    snapshot: Snapshot, found: Sheet, job: JobName
) -> tuple[Procedure, dict[str, list[str | int | float]]]:
    """The procedure, and the parameters that would decide whether a more specific one applies, with their values.

    Any other order of work comes before a common one. One for this chassis is more specific than one for all; of two
    that cannot be compared, the first by id. Raises Invalid `no-procedure`.
    """
    context = found.context
    spelt = [text for text in snapshot.values(Procedure, "job") if meant("job", text) == job]
    rows = [row for row in snapshot.among(Procedure, "job", spelt) if row.chassis in (None, context.chassis.id)]
    scoped = context.scoped(rows)
    may_hold = [(row, scope) for row, scope in scoped if found.where.may_hold(scope)]
    sure = [(row, scope) for row, scope in may_hold if not found.where.open_in(scope)]
    if not sure:
        text = (
            f"The catalogue has no order of work for {JOB_WORDS[job]} of {context.chassis.name}, so there is no card. "
            "Add the common ones with legwork orders, or enter one in the tables procedures and steps."
        )
        raise Invalid.one("no-procedure", text, parameter="job")
    best = next(one for one in sure if not any(_beats(other, one) for other in sure))
    rivals: list[Applicable[Any]] = [
        Applicable(row, scope, found.where.open_in(scope))
        for row, scope in may_hold
        if (row, scope) not in sure and _beats((row, scope), best)
    ]
    return best[0], undecided(rivals, found.where, context.choices(found.where, found.offered))


def steps_of(snapshot: Snapshot, procedure: Procedure) -> list[Step]:
    """Its steps in order of work."""
    return sorted(snapshot.where(Step, "procedure", procedure.id), key=lambda step: (step.order, step.id))


def is_common(procedure: Procedure) -> bool:
    """Whether it comes with Legwork (`app/orders`) and is not the catalogue's own."""
    return procedure.id.startswith(COMMON) and procedure.source == COMMON_PRACTICE


def _beats(a: tuple[Procedure, Scope], b: tuple[Procedure, Scope]) -> bool:
    if is_common(a[0]) != is_common(b[0]):
        return is_common(b[0])
    if (a[0].chassis is None) != (b[0].chassis is None):
        return a[0].chassis is not None
    return narrower(a[1], b[1])
