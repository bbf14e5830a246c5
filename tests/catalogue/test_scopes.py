"""Scope algebra as properties; the definitions are those of the design, section 3 (scope, overlap, narrower)."""

from itertools import product

from hypothesis import given
from hypothesis import strategies as st

from app.catalogue.scopes import EVERYWHERE, Scope, contains, empty, narrower, overlap, resolve
from app.catalogue.tables import Chassis, Fit, Torque, Variant

YEARS, TRAVELS, NAMES, WHEELS = range(2019, 2023), (140, 150, 160), ("x", "y"), (584, 622)


@st.composite
def intervals(draw: st.DrawFn, points: tuple[float, ...]) -> tuple[float, float]:
    first, second = draw(st.sampled_from(points)), draw(st.sampled_from(points))
    return min(first, second), max(first, second)


SCOPES = st.builds(
    lambda years, travels, *names: Scope(*years, *travels, *names),
    intervals(tuple(YEARS)),
    intervals(TRAVELS),
    *(st.sampled_from((None, *NAMES)) for _ in range(3)),
    st.sampled_from((None, *WHEELS)),
)


def holds_at(scope: Scope, point: tuple[object, ...]) -> bool:
    year, travel, *names = point
    return (
        scope.year_from <= year <= scope.year_to  # type: ignore[operator]
        and scope.travel_from <= travel <= scope.travel_to  # type: ignore[operator]
        and all(own in (None, name) for own, name in zip(scope[4:], names, strict=True))
    )


POINTS = list(product(YEARS, TRAVELS, (*NAMES, "z"), (*NAMES, "z"), (*NAMES, "z"), (*WHEELS, 559)))


@given(SCOPES, SCOPES)
def test_two_scopes_overlap_exactly_when_some_configuration_is_in_both(a: Scope, b: Scope) -> None:
    shared = any(holds_at(a, point) and holds_at(b, point) for point in POINTS)
    assert overlap(a, b) == overlap(b, a) == shared


@given(SCOPES, SCOPES)
def test_a_scope_contains_another_exactly_when_it_holds_wherever_the_other_does(a: Scope, b: Scope) -> None:
    assert contains(a, b) == all(holds_at(a, point) for point in POINTS if holds_at(b, point))


@given(SCOPES, SCOPES, SCOPES)
def test_narrower_is_a_strict_partial_order(a: Scope, b: Scope, c: Scope) -> None:
    assert not narrower(a, a)
    assert not (narrower(a, b) and narrower(b, a))
    assert not (narrower(a, b) and narrower(b, c)) or narrower(a, c)


@given(SCOPES, SCOPES, SCOPES)
def test_containment_is_reflexive_and_transitive(a: Scope, b: Scope, c: Scope) -> None:
    assert contains(a, a)
    assert contains(EVERYWHERE, a)
    assert not (contains(a, b) and contains(b, c)) or contains(a, c)


@given(SCOPES, SCOPES)
def test_a_narrower_scope_overlaps_the_wider(a: Scope, b: Scope) -> None:
    assert not narrower(a, b) or overlap(a, b)


CHASSIS = Chassis.checked(
    id="c", maker="m", name="C", model_year_from=2020, model_year_to=2024, travel_min_mm=130, travel_max_mm=160
)


def test_an_empty_end_is_the_chassis_own() -> None:
    row = Torque.checked(id="t", chassis="c", fastener="f", model_year_from=2022, travel_to_mm=140)
    assert resolve(row, CHASSIS, {}) == Scope(2022, 2024, 130, 140)
    bare = Chassis.checked(id="c", maker="m", name="C")
    assert resolve(Torque.checked(id="t", chassis="c", fastener="f"), bare, {}) == EVERYWHERE


def test_the_travel_of_a_fit_is_not_part_of_its_scope() -> None:
    fit = Fit.checked(id="t", chassis="c", spring="s", travel_mm=150)
    assert resolve(fit, CHASSIS, {}) == Scope(2020, 2024, spring="s")


def test_a_variant_narrows_the_years() -> None:
    variants = {"v": Variant.checked(id="v", chassis="c", name="V", model_year_from=2022, model_year_to=2023)}
    within = resolve(Torque.checked(id="t", chassis="c", fastener="f", variant="v"), CHASSIS, variants)
    assert within == Scope(2022, 2023, 130, 160, variant="v")
    stated = Torque.checked(id="t", chassis="c", fastener="f", variant="v", model_year_to=2022)
    assert resolve(stated, CHASSIS, variants)[:2] == (2022, 2022)
    outside = Torque.checked(id="t", chassis="c", fastener="f", variant="v", model_year_from=2024)
    assert empty(resolve(outside, CHASSIS, variants))
