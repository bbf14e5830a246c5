"""The figures of one fork as search results, each with its place on the fork, its scope and its source.

They are the statements of the sheet, so a search never shows what the sheet hides.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from app.catalogue.tables import Chassis, Damper, Fastener
from app.questions.answers.statement_views import (
    FillView,
    GreaseView,
    IntervalView,
    LimitView,
    StatementView,
    TorqueView,
    UseView,
)
from app.questions.answers.views import ScopeView, length, source_ref
from app.questions.search.hits import ForkFigure, ScopeException, SearchHit, claim, fork_name, with_figure
from app.questions.search.springs import guide_figures, spring_figures
from app.questions.sheet.gather import Sheet
from app.questions.sheet.sheet import SheetAnswer, sheet_view
from app.units.measure import wheel_called
from app.units.preferences import Units
from app.units.quantity import Quantity

ORDER = (
    "torque", "oil", "limit", "maximum pressure", "spring", "volume spacers", "axle to crown", "start pressure",
    "grease", "part", "interval", "clicks", "fork",
)  # fmt: skip
"""The kinds in the order in which equally good results are listed."""
_KIND_WORDS = {
    "torque": "torque tighten tightening",
    "oil": "oil fill bath volume level lubricant",
    "grease": "grease lubricant",
    "part": "part parts kit",
    "limit": "limit maximum minimum wear",
    "interval": "interval service due hours months",
    "clicks": "clicks rebound compression damping",
    "fork": "",
}


class FigureOwner(NamedTuple):
    """The part that all results of one fork share."""

    of: str
    href: str


def fork_figures(found: Sheet, units: Units, href: str) -> list[ForkFigure]:
    """Every figure and fact of a fork for the request; `href` leads to its sheet."""
    answer = sheet_view(found, units)
    found.context.with_sources([*found.springs.values(), *found.dampers.values()])  # of entities, not on a sheet
    subject = FigureOwner(fork_name(found.context.chassis, found.context.maker), href)
    figures = [*_statements(found, answer), *spring_figures(found, answer, units)]
    figures += [*guide_figures(found, answer), *_clicks(found), *_facts(found, units)]
    shown = [_completed(each, subject) for each in figures]
    _add_exceptions(shown, answer)
    return shown


def _completed(figure: ForkFigure, subject: FigureOwner) -> ForkFigure:
    hit = figure.hit
    hit["of"] = subject.of
    if not hit["href"]:
        hit["href"] = subject.href
    kind = _KIND_WORDS.get(hit["kind"], hit["kind"])
    return figure._replace(words=(kind, hit["detail"], hit.get("part_number", ""), *figure.words))


def _add_exceptions(figures: Sequence[ForkFigure], answer: SheetAnswer) -> None:
    """Adds to each wider statement the narrower ones that override it."""
    lists: tuple[Sequence[StatementView], ...] = (
        answer["torques"], answer["fills"], answer["greases"], answer["uses"], answer["limits"], answer["intervals"],
        answer["guides"], answer["adjustments"],
    )  # fmt: skip
    narrower: dict[str, list[ScopeException]] = {}
    for each in (view for views in lists for view in views):
        for wider in each.get("narrows", ()):
            narrower.setdefault(wider, []).append({"id": each["id"], "scope": each["scope"]})
    for fit in answer["fits"]:
        for wider in fit.get("narrows", ()):
            narrower.setdefault(wider, []).append({"id": fit["id"], "scope": fit["scope"]})
    for figure in figures:
        if figure.hit["id"] in narrower:
            figure.hit["exceptions"] = narrower[figure.hit["id"]]


def _statements(found: Sheet, answer: SheetAnswer) -> Iterator[ForkFigure]:
    for each, torque in zip(found.torques, answer["torques"], strict=True):
        yield _torque(torque, found.fasteners[each.statement.fastener])
    yield from map(_fill, answer["fills"])
    yield from map(_grease, answer["greases"])
    uses: dict[str, list[UseView]] = {}
    for use in answer["uses"]:
        place = (use["part"]["id"], use.get("position"), use.get("count"), use["scope"], use.get("source"))
        uses.setdefault(repr(place), []).append(use)
    yield from map(_part, uses.values())
    yield from map(_limit, answer["limits"])
    yield from map(_interval, answer["intervals"])


def _torque(view: TorqueView, fastener: Fastener) -> ForkFigure:
    bolt = view["fastener"]
    stage = f"stage {view['stage']}" if "stage" in view else ""
    material = f"against {view['mating_material']}" if "mating_material" in view else ""
    side = "" if bolt.get("side") == "both" else bolt.get("side", "")
    name = ", ".join(text for text in (bolt["position"], side, stage, material) if text)
    detail = [
        f"{bolt['count']} bolts" if bolt.get("count", 1) > 1 and bolt["kind"] == "bolt" else "",
        " or ".join(bolt.get("drives", ())), view.get("thread_prep", ""), view.get("instruction", ""),
        "left-hand thread" if bolt.get("hand") == "left" else "",
        "new each time" if bolt.get("reuse") == "replace" else "",
        f"check again {view['recheck']}" if "recheck" in view else "",
    ]  # fmt: skip
    hit = with_figure(claim("torques", "torque", name, view, detail), view.get("torque"))
    hit["scope"] = _of_fastener(view["scope"].copy(), fastener)
    return ForkFigure(hit, (bolt["position"],), (bolt.get("side", ""), bolt["kind"], bolt.get("thread", "")))


def _of_fastener(scope: ScopeView, fastener: Fastener) -> ScopeView:
    """The scope of a torque, limited to the years, spring and damper of its fastener."""
    if fastener.model_year_from is not None:
        scope["model_year_from"] = max(fastener.model_year_from, scope.get("model_year_from", 0))
    if fastener.model_year_to is not None:
        scope["model_year_to"] = min(fastener.model_year_to, scope.get("model_year_to", fastener.model_year_to))
    if fastener.spring is not None:
        scope["spring"] = scope.get("spring", fastener.spring)
    if fastener.damper is not None:
        scope["damper"] = scope.get("damper", [fastener.damper])
    return scope


def _fill(view: FillView) -> ForkFigure:
    fluid = view.get("fluid")
    figure = view.get("volume", view.get("mass", view.get("level")))
    amount = {"none": "no oil", "greased": "greased"}.get(view.get("amount", ""), "")
    level = f"level {view['level']['text']}" if "level" in view and "volume" in view else ""
    datum = " ".join(["from", view["level_datum"]] if "level_datum" in view else [])
    alternatives = f"or {view['alternatives']}" if "alternatives" in view else ""
    about = (
        fluid["name"] if fluid else "",
        view.get("condition", ""),
        amount,
        level,
        datum,
        view.get("level_state", ""),
        alternatives,
    )
    hit = with_figure(claim("fills", "oil", view["chamber"], view, about), figure)
    return ForkFigure(hit, (view["chamber"],), (fluid.get("kind", "") if fluid else "",))


def _grease(view: GreaseView) -> ForkFigure:
    fluid = view["fluid"]["name"] if "fluid" in view else ""
    extent = "measured from the end" if "extent" in view else ""
    hit = claim("greases", "grease", view["place"], view, (fluid, view.get("amount", ""), extent))
    return ForkFigure(with_figure(hit, view.get("extent")), (view["place"],), ())


def _part(views: Sequence[UseView]) -> ForkFigure:
    """A part, with all jobs that use the same number of it at the same place."""
    first = views[0]
    part, position = first["part"], first.get("position", "")
    count = f"{first['count']} for each job" if "count" in first else ""
    jobs = [f"{view['job'].replace('-', ' ')} ({view.get('when', 'not stated when')})" for view in views]
    hit = claim("uses", "part", part["name"], first, (position, count, *jobs))
    if "part_number" in part:
        hit["part_number"] = part["part_number"]
    return ForkFigure(hit, (part["name"], position), (part.get("kind", ""),))


def _limit(view: LimitView) -> ForkFigure:
    beyond = f"beyond it: {view['action']}" if "action" in view else ""
    hit = claim("limits", "limit", view["subject"], view, (view.get("method", ""), beyond, view.get("unchecked", "")))
    return ForkFigure(with_figure(hit, view.get("limit")), (view["subject"],), ())


def _interval(view: IntervalView) -> ForkFigure:
    operation = view["operation"].replace("-", " ")
    after = [f"{view['hours']['text']} of riding"] if "hours" in view else []
    after += [view["months"]["text"]] if "months" in view else []
    riding = f", {view['riding']} riding" if "riding" in view else ""
    hit = claim("intervals", "interval", f"{operation}, interval{riding}", view, (" or ".join(after),))
    return ForkFigure(hit, (operation,), (view.get("riding", ""),))


def _clicks(found: Sheet) -> Iterator[ForkFigure]:
    """The clicks of each damper with where they are counted from; without that the number means nothing."""
    for damper in found.dampers.values():
        for name, count in (("rebound", damper.rebound_clicks), ("compression", damper.compression_clicks)):
            if count is not None and damper.clicks_from is not None:
                yield _click(found, damper, name, f"{count} clicks, counted from {damper.clicks_from}")


def _click(found: Sheet, damper: Damper, name: str, text: str) -> ForkFigure:
    hit: SearchHit = {
        "table": "dampers", "id": damper.id, "kind": "clicks", "name": f"{name.capitalize()} clicks, {damper.name}",
        "detail": text, "scope": {"damper": [damper.id]}, "href": f"/v1/dampers/{damper.id}", "score": 0.0,
    }  # fmt: skip
    if (source := source_ref(damper, found.context.sources)) is not None:
        hit["source"] = source
    return ForkFigure(hit, (name,), (damper.name,))


def _facts(found: Sheet, units: Units) -> Iterator[ForkFigure]:
    """Figures of the fork as a whole."""
    chassis = found.context.chassis
    if chassis.stanchion_diameter_mm is not None:
        figure = length(chassis.stanchion_diameter_mm, units)
        yield _fact(found, chassis, "Stanchion, outside diameter", "", ("stanchion",), figure)
    listed = (
        ("Steerer", "; ".join(chassis.steerers or ())),
        ("Wheels", ", ".join(map(wheel_called, chassis.wheel_sizes or ()))),
        ("Front hub width", _lengths(chassis.hub_spacings_mm, units)),
        ("Axle diameter", _lengths(chassis.axle_diameters_mm, units)),
        ("Offset", _lengths(chassis.offsets_mm, units)),
        ("Identifying marks", "; ".join(chassis.marks or ())),
    )
    for name, text in listed:
        if text:
            yield _fact(found, chassis, name, text, (name,), None)


def _lengths(values: Sequence[float] | None, units: Units) -> str:
    return " or ".join(length(value, units)["text"] for value in values or ())


def _fact(
    found: Sheet, chassis: Chassis, name: str, text: str, place: Sequence[str], figure: Quantity | None
) -> ForkFigure:
    hit: SearchHit = {
        "table": "chassis", "id": chassis.id, "kind": "fork", "name": name, "detail": text,
        "href": f"/v1/chassis/{chassis.id}", "score": 0.0,
    }  # fmt: skip
    if (source := source_ref(chassis, found.context.sources)) is not None:
        hit["source"] = source
    return ForkFigure(with_figure(hit, figure), place, ())
