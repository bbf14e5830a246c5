"""The chassis that take a spring: `fits` seen from the spring. A fit is never inferred from a bore."""

from pydantic import TypeAdapter
from typing_extensions import TypedDict

from app.catalogue.present import present
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Fit, Source, Spacer, Spring
from app.questions.answers.cautions import cautions
from app.questions.answers.parameters import LookupParameters
from app.questions.answers.views import Caution, ChassisRef, SpringRef, chassis_ref
from app.questions.configuration.chassis_context import load_chassis
from app.questions.configuration.region import Given
from app.questions.sheet.fits import FitView, chosen_units, fit_view, prevailing_fits, spring_ref

MOST_CHASSIS = 100


class SpringFitsAsked(LookupParameters):
    """The parameters of `fits` of a spring: those that all lookups share."""


class ChassisFit(FitView):
    """One fit of this spring in a chassis."""

    chassis: ChassisRef


class SpringFitsAnswer(TypedDict):
    """The chassis that take this spring, ordered by id; at most 100 are shown."""

    revision: int
    spring: SpringRef
    fits: list[ChassisFit]
    chassis_total: int
    cautions: list[Caution]


SPRING_FITS = TypeAdapter(SpringFitsAnswer)


def spring_fits(snapshot: Snapshot, id: str, asked: SpringFitsAsked) -> SpringFitsAnswer:
    """The answer at one revision. Raises NotFound, and Gone for a withdrawn spring."""
    units = chosen_units(asked)
    spring = present(snapshot, Spring, id)
    by_chassis: dict[str, list[Fit]] = {}
    for fit in snapshot.where(Fit, "spring", id):
        by_chassis.setdefault(fit.chassis, []).append(fit)
    shown: list[ChassisFit] = []
    sources: dict[str, Source] = {}
    for chassis in sorted(by_chassis)[:MOST_CHASSIS]:
        context = load_chassis(snapshot, chassis)
        where = context.region(Given(), by_chassis[chassis])
        found = prevailing_fits(context, by_chassis[chassis], Given(), where)
        spacers = snapshot.many(Spacer, {each.statement.spacer for each in found if each.statement.spacer})
        named = chassis_ref(context.chassis, context.maker)
        shown += [{"chassis": named, **fit_view(each, context, {id: spring}, spacers, units)} for each in found]
        sources |= context.sources
    return {
        "revision": snapshot.revision,
        "spring": spring_ref(id, {id: spring}),
        "fits": shown,
        "chassis_total": len(by_chassis),
        "cautions": cautions("limits", "frame-limit", "not-in-the-catalogue", sources=sources.values()),
    }
