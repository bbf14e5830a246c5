"""Figures of a fork's springs as search results: limits, travels and lengths by fit, and published set-up."""

from collections.abc import Iterator

from app.catalogue.tables import Fit
from app.questions.answers.statement_views import GuideView
from app.questions.answers.views import ScopeView, figure, length, scope_of_fit, source_ref
from app.questions.search.hits import ForkFigure, SearchHit, claim, with_figure
from app.questions.sheet.fits import FitView
from app.questions.sheet.gather import Sheet
from app.questions.sheet.sheet import SheetAnswer
from app.units.preferences import Units
from app.units.quantity import Quantity


def spring_figures(found: Sheet, answer: SheetAnswer, units: Units) -> Iterator[ForkFigure]:
    """The figures of each fit: its spring and travel, maximum pressure, spacers and axle-to-crown length."""
    for each, view in zip(found.fits, answer["fits"], strict=True):
        yield from _of_fit(each.statement, view, units)
    without_limit = {each.statement.spring for each in found.fits if each.statement.pressure_limit is None}
    for spring in found.springs.values():
        limit = figure(spring, "pressure", None, spring.pressure_unit, units, maximum="pressure_limit")
        if limit is not None and spring.id in without_limit:
            hit: SearchHit = {
                "table": "springs", "id": spring.id, "kind": "maximum pressure", "name": "Maximum pressure",
                "detail": spring.name, "figure": limit, "scope": {"spring": spring.id},
                "href": f"/v1/springs/{spring.id}", "score": 0.0,
            }  # fmt: skip
            if (source := source_ref(spring, found.context.sources)) is not None:
                hit["source"] = source
            yield ForkFigure(hit, ("maximum pressure",), ("max air spring", spring.name))


def _of_fit(fit: Fit, view: FitView, units: Units) -> Iterator[ForkFigure]:
    spring = view["spring"].get("name", view["spring"]["id"])
    scope = _fit_scope(fit, units)
    words = ("spring", spring, view["spring"].get("part_number", ""), view["spring"].get("kind", ""))
    hit = _hit(scope, view, "spring", spring, view["travel"], "travel with this spring")
    if "part_number" in view["spring"]:
        hit["part_number"] = view["spring"]["part_number"]
    yield ForkFigure(hit, (spring,), (*words, "travel"))
    if "pressure_limit" in view:
        limit = _hit(scope, view, "maximum pressure", "Maximum pressure", view["pressure_limit"], spring)
        yield ForkFigure(limit, ("maximum pressure",), (*words, "max air limit"))
    if "axle_to_crown" in view:
        to_crown = _hit(scope, view, "axle to crown", "Axle to crown", view["axle_to_crown"], spring)
        yield ForkFigure(to_crown, ("axle to crown",), (*words, "a2c length height"))
    spacer = view["spacer"]["name"] if "spacer" in view else ""
    counts = [f"at most {view['spacer_limit']}"] if "spacer_limit" in view else []
    counts += [f"{view['spacers_fitted']} from the factory"] if "spacers_fitted" in view else []
    if counts:
        detail = ", ".join([*counts, *filter(None, [spacer])])
        several = _hit(scope, view, "volume spacers", "Volume spacers", None, detail)
        yield ForkFigure(several, ("volume spacers",), (*words, "tokens limit maximum"))


def _hit(scope: ScopeView, view: FitView, kind: str, name: str, quantity: Quantity | None, detail: str) -> SearchHit:
    """A figure of a fit, which applies to that spring at that travel only."""
    hit = claim("fits", kind, name, {"id": view["id"], "scope": scope}, (detail,))
    if "note" in view:
        hit["note"] = view["note"]
    if "source" in view:
        hit["source"] = view["source"]
    return with_figure(hit, quantity)


def _fit_scope(fit: Fit, units: Units) -> ScopeView:
    return {**scope_of_fit(fit, units), "travel": length(fit.travel_mm, units), "spring": fit.spring}


def guide_figures(found: Sheet, answer: SheetAnswer) -> Iterator[ForkFigure]:
    """The published set-up for each bracket of rider mass.

    Clicks are left out if it is uncertain where they are counted from.
    """
    for view in answer["guides"]:
        springs = found.springs
        chosen = springs[view["spring_choice"]].name if view.get("spring_choice") in springs else ""
        detail = [
            f"{view['chamber']} chamber" if view.get("chamber") not in (None, "coil") else "",
            chosen,
            f"sag {view['sag']['text']}" if "sag" in view else "",
            *_clicks(view),
            f"preload {view['preload_turns']['text']}" if "preload_turns" in view else "",
            view.get("instruction", ""),
        ]
        riding = f", {view['riding']} riding" if "riding" in view else ""
        name = f"Set-up, rider {_bracket(view)}{riding}"
        hit = with_figure(claim("guides", "start pressure", name, view, detail), view.get("pressure"))
        yield ForkFigure(hit, ("start pressure",), ("set-up setup sag rider air coil", *detail))


def _clicks(view: GuideView) -> Iterator[str]:
    for name, shown in (("rebound", view.get("rebound_clicks")), ("compression", view.get("compression_clicks"))):
        if shown is not None and "from" in shown:
            yield f"{name} {shown['text']}"


def _bracket(view: GuideView) -> str:
    low, high = view.get("rider_mass_from"), view.get("rider_mass_to")
    ends = [f"from {low['text']}"] if low else []
    ends += [f"below {high['text']}"] if high else []
    return " ".join([*(ends or ["of any mass"]), *([f"({view['mass_is']})"] if "mass_is" in view else [])])
