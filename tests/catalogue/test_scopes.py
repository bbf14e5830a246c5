"""Scope algebra as properties; the definitions are those of the design, section 3 (scope, overlap, narrower)."""

from itertools import combinations, product

from hypothesis import given
from hypothesis import strategies as st

from app.catalogue.scopes import EVERYWHERE, FittedPart, Scope, contains, empty, narrower, overlap, resolve
from app.catalogue.serials import SerialRange, serial_range
from app.catalogue.tables import Chassis, Fit, Part, Torque, Variant

YEARS, TRAVELS, NAMES, WHEELS = range(2019, 2023), (140, 150, 160), ("x", "y"), (584, 622)


@st.composite
def intervals(draw: st.DrawFn, points: tuple[float, ...]) -> tuple[float, float]:
    first, second = draw(st.sampled_from(points)), draw(st.sampled_from(points))
    return min(first, second), max(first, second)


@st.composite
def serial_ranges(draw: st.DrawFn) -> SerialRange | None:
    """A range of serials of one length, with two ends, one or none."""
    stamped = st.sampled_from(draw(st.sampled_from((("A1", "A2", "B1"), ("A-1", "A-2")))))
    first, last = sorted((draw(stamped), draw(stamped)))
    return serial_range(*draw(st.sampled_from(((None, None), (first, None), (None, last), (first, last)))))


PARTS = (FittedPart("crown", "steel"), FittedPart("crown", "carbon"), FittedPart("guard", "long"))


def some_of(names: tuple[object, ...]) -> st.SearchStrategy[frozenset[object] | None]:
    """Any of the lists of these names, or none."""
    return st.sampled_from((None, *(frozenset(found) for many in (1, 2) for found in combinations(names, many))))


PLAIN = st.builds(
    lambda years, travels, variant, spring, *rest: Scope(*years, *travels, variant, spring, *rest[:2], None, rest[2]),
    intervals(tuple(YEARS[:2])),
    intervals(TRAVELS[:2]),
    some_of(NAMES),
    st.sampled_from((None, *NAMES)),
    some_of(NAMES),
    some_of(WHEELS),
    st.sampled_from((None, *PARTS)),
)
SCOPES = st.builds(lambda scope, serials: scope._replace(serials=serials), PLAIN, serial_ranges())
OF_SERIALS = st.builds(lambda years, serials: Scope(*years, serials=serials), intervals(tuple(YEARS)), serial_ranges())
STAMPED = [
    (year, serial)
    for year in YEARS
    for serial in ("A0", "A1", "A2", "A9", "B1", "Z9", "A-0", "A-1", "A-2", "Z-9", "A", "A11")
]
"""Configurations that differ in their year and serial only: each side of every end, and serials of other lengths."""


def holds_at(scope: Scope, point: tuple[object, ...]) -> bool:
    year, travel, variant, spring, damper, wheel_size, crown, guard = point
    listed = ((scope.variant, variant), (scope.damper, damper), (scope.wheel_size, wheel_size))
    return (
        scope.year_from <= year <= scope.year_to  # type: ignore[operator]
        and scope.travel_from <= travel <= scope.travel_to  # type: ignore[operator]
        and scope.spring in (None, spring)
        and all(own is None or name in own for own, name in listed)
        and (scope.fitted_part is None or scope.fitted_part.part in (crown, guard))
    )


POINTS = list(
    product(
        YEARS[:2], TRAVELS[:2], (*NAMES, "z"), (*NAMES, "z"), (*NAMES, "z"), (*WHEELS, 559),
        ("steel", "carbon", "other"), ("long", ""),
    )
)  # fmt: skip


@given(PLAIN, PLAIN)
def test_two_scopes_overlap_exactly_when_some_configuration_is_in_both(a: Scope, b: Scope) -> None:
    shared = any(holds_at(a, point) and holds_at(b, point) for point in POINTS)
    assert overlap(a, b) == overlap(b, a) == shared


@given(PLAIN, PLAIN)
def test_a_scope_contains_another_exactly_when_it_holds_wherever_the_other_does(a: Scope, b: Scope) -> None:
    assert contains(a, b) == all(holds_at(a, point) for point in POINTS if holds_at(b, point))


def is_stamped(scope: Scope, year: int, serial: str) -> bool:
    """Whether a scope has a serial of a year: of the length of its ends, and between them as bytes."""
    if not scope.year_from <= year <= scope.year_to or scope.serials is None:
        return scope.year_from <= year <= scope.year_to
    first, last = scope.serials.first.encode(), scope.serials.last.encode()
    return len(serial) == scope.serials.length and first <= serial.encode() <= last


@given(OF_SERIALS, OF_SERIALS)
def test_serial_ranges_overlap_and_contain_each_other_as_sets_of_serials(a: Scope, b: Scope) -> None:
    of_a, of_b = ({each for each in STAMPED if is_stamped(scope, *each)} for scope in (a, b))
    assert overlap(a, b) == overlap(b, a) == bool(of_a & of_b)
    assert contains(a, b) == (of_b <= of_a)


def test_serials_of_different_length_never_overlap_and_case_does_not_matter() -> None:
    short, long = serial_range("a-1", "a-9"), serial_range("A-01", "A-99")
    assert short is not None
    assert long is not None
    assert short == serial_range("A-1", "A-9")
    assert short.holds("A-5")
    assert not long.holds("A-5")
    assert not short.meets(long)


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
    assert resolve(row, CHASSIS, {}, {}) == Scope(2022, 2024, 130, 140)
    bare = Chassis.checked(id="c", maker="m", name="C")
    assert resolve(Torque.checked(id="t", chassis="c", fastener="f"), bare, {}, {}) == EVERYWHERE


def test_the_travel_of_a_fit_is_not_part_of_its_scope() -> None:
    fit = Fit.checked(id="t", chassis="c", spring="s", travel_mm=150)
    assert resolve(fit, CHASSIS, {}, {}) == Scope(2020, 2024, spring="s")


def test_a_variant_narrows_the_years() -> None:
    variants = {"v": Variant.checked(id="v", chassis="c", name="V", model_year_from=2022, model_year_to=2023)}
    within = resolve(Torque.checked(id="t", chassis="c", fastener="f", variant=("v",)), CHASSIS, variants, {})
    assert within == Scope(2022, 2023, 130, 160, variant=frozenset({"v"}))
    stated = Torque.checked(id="t", chassis="c", fastener="f", variant=("v",), model_year_to=2022)
    assert resolve(stated, CHASSIS, variants, {})[:2] == (2022, 2022)
    outside = Torque.checked(id="t", chassis="c", fastener="f", variant=("v",), model_year_from=2024)
    assert empty(resolve(outside, CHASSIS, variants, {}))


def test_several_variants_narrow_the_years_to_theirs_and_those_of_other_years_are_left_out() -> None:
    variants = {
        id: Variant.checked(id=id, chassis="c", name=id, model_year_from=first, model_year_to=last)
        for id, first, last in (("a", 2020, 2021), ("b", 2023, None), ("d", 2024, 2024))
    }
    row = Torque.checked(id="t", chassis="c", fastener="f", variant=("a", "b"))
    assert resolve(row, CHASSIS, variants, {}) == Scope(2020, 2024, 130, 160, variant=frozenset({"a", "b"}))
    late = row.replaced(model_year_from=2022)
    assert resolve(late, CHASSIS, variants, {}) == Scope(2023, 2024, 130, 160, variant=frozenset({"b"}))
    never = row.replaced(variant=("a", "d"), model_year_from=2022, model_year_to=2023)
    assert empty(resolve(never, CHASSIS, variants, {}))


def test_parts_of_one_kind_exclude_each_other_and_an_unknown_part_is_of_its_own_kind() -> None:
    parts = {id: Part.checked(id=id, name=id, kind="crown") for id in ("steel", "carbon")}
    rows = [Torque.checked(id="t", chassis="c", fastener="f", fitted_part=id) for id in ("steel", "carbon", "gone")]
    steel, carbon, gone = (resolve(row, CHASSIS, {}, parts) for row in rows)
    assert not overlap(steel, carbon)
    assert overlap(steel, gone)
