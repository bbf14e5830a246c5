"""Which chassis take this spring: the question `fits` from the other side. A fit is never inferred from a bore."""

from pydantic import TypeAdapter
from typing_extensions import TypedDict

from app.catalogue.rows import At
from app.catalogue.tables import Fit, Source, Spacer, Spring
from app.questions.asked import Common
from app.questions.cautions import cautions
from app.questions.chassis_in_hand import in_hand
from app.questions.fits import FitShown, chosen_units, fit_shown, prevailing_fits, spring_ref
from app.questions.present import present
from app.questions.region import Given
from app.questions.shapes import Caution, ChassisRef, SpringRef, chassis_ref

MOST_CHASSIS = 100


class SpringFitsAsked(Common):
    """The parameters of `fits` of a spring: those that all lookups share."""


class ChassisFit(FitShown):
    """One statement that this spring gives a travel in a chassis."""

    chassis: ChassisRef


class SpringFitsAnswer(TypedDict):
    """The chassis that take this spring, by id; of more than 100 the first are shown."""

    revision: int
    spring: SpringRef
    fits: list[ChassisFit]
    chassis_total: int
    cautions: list[Caution]


SPRING_FITS = TypeAdapter(SpringFitsAnswer)


def spring_fits(at: At, id: str, asked: SpringFitsAsked) -> SpringFitsAnswer:
    """The answer at one revision. Raises NotFound, and Gone for a withdrawn spring."""
    units = chosen_units(asked)
    spring = present(at, Spring, id)
    by_chassis: dict[str, list[Fit]] = {}
    for fit in at.where(Fit, "spring", id):
        by_chassis.setdefault(fit.chassis, []).append(fit)
    shown: list[ChassisFit] = []
    sources: dict[str, Source] = {}
    for chassis in sorted(by_chassis)[:MOST_CHASSIS]:
        held = in_hand(at, chassis)
        where = held.region(Given(), by_chassis[chassis])
        found = prevailing_fits(held, by_chassis[chassis], Given(), where)
        spacers = at.many(Spacer, {each.statement.spacer for each in found if each.statement.spacer})
        named = chassis_ref(held.chassis, held.maker)
        shown += [{"chassis": named, **fit_shown(each, held, {id: spring}, spacers, units)} for each in found]
        sources |= held.sources
    return {
        "revision": at.revision,
        "spring": spring_ref(id, {id: spring}),
        "fits": shown,
        "chassis_total": len(by_chassis),
        "cautions": cautions("limits", "frame-limit", "not-in-the-catalogue", sources=sources.values()),
    }
