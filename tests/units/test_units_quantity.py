"""A converted limit never loosens, text and value agree, and the published text is shown with the converted one."""

import math
import random
import re
from decimal import Decimal
from fractions import Fraction

import pytest

from app.errors import Invalid
from app.units.convert import exact, step_for
from app.units.preferences import AS_PUBLISHED, SYSTEM_UNITS, Units, choose
from app.units.quantity import Quantity, bare_limit, computed, quantity, to_set
from app.units.table import KINDS, Kind, Unit, unit, units_of

METRIC, IMPERIAL = choose("metric"), choose("imperial")
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
MANY = 10_000
MEMBERS: dict[str, list[set[str]]] = {
    "exact": [{"value"}],
    "toleranced": [{"value", "min"}, {"value", "max"}, {"value", "min", "max"}],
    "range": [{"min", "max"}],
    "at_most": [{"max"}],
    "at_least": [{"min"}],
    "estimate": [{"value", "min", "max"}],
}


def assert_text_agrees(q: Quantity) -> None:
    """Every number of the text is the value or a limit, in that order, and the text contains the unit."""
    assert (q["unit"] in q["text"]) == (q["unit"] != "ratio")
    digits = q["text"].replace(q["unit"], "").replace("–", " ")
    shown = [float(each) for each in NUMBER.findall(digits)]
    figures = [q[key] for key in ("value", "min", "max") if key in q]  # type: ignore[literal-required]
    collapsed = q["kind"] == "estimate" and len({*figures}) == 1  # a band narrower than a step is not written out
    assert shown == (figures[:1] if collapsed else figures), q
    assert {key for key in ("value", "min", "max") if key in q} in MEMBERS[q["kind"]], q


def drawn(rng: random.Random) -> tuple[Kind, Unit, Unit, list[Decimal]]:
    """A kind, two of its units, and three published values in order, with 0 to 3 decimals."""
    kind = rng.choice(KINDS)
    start, target = rng.choice(units_of(kind)), rng.choice(units_of(kind))
    decimals = rng.randint(0, 3)
    top = 10 ** rng.randint(1, 4)
    values = sorted(Decimal(rng.randint(1, top * 10**decimals)).scaleb(-decimals) for _ in range(3))
    return kind, start, target, values


def test_ten_thousand_converted_limits_never_loosen() -> None:
    rng = random.Random(20)
    converted = 0
    for _ in range(MANY):
        kind, start, target, (low, nominal, high) = drawn(rng)
        to = Units("published", ((kind, target.name),))
        q = quantity(kind, nominal, start.name, minimum=low, maximum=high, to=to)
        where = unit(kind, q["unit"])
        true_low, true_high = exact(low, start, where), exact(high, start, where)
        assert_text_agrees(q)
        if low == nominal == high:
            assert q["kind"] == "exact"
        else:
            assert Fraction(str(q["min"])) >= true_low
            assert Fraction(str(q["max"])) <= true_high
            assert q["min"] <= q["value"] <= q["max"]
        if where is not start:
            converted += 1
            assert q["as_published"] == quantity(kind, nominal, start.name, minimum=low, maximum=high)["text"]
    assert converted > MANY / 2


def test_ten_thousand_single_limits_never_loosen_and_stay_near() -> None:
    rng = random.Random(21)
    for _ in range(MANY):
        kind, start, target, values = drawn(rng)
        to = Units("published", ((kind, target.name),))
        most = quantity(kind, None, start.name, maximum=values[1], to=to)
        least = quantity(kind, None, start.name, minimum=values[1], to=to)
        true = exact(values[1], start, target)
        assert Fraction(str(most["max"])) <= true <= Fraction(str(least["min"]))
        assert (most["kind"], least["kind"]) == ("at_most", "at_least")
        assert_text_agrees(most)
        assert_text_agrees(least)
        if kind != "temperature":  # a temperature is rounded to whole degrees, near zero too
            assert float(most["max"]) == pytest.approx(float(true), rel=0.05)
            assert float(least["min"]) == pytest.approx(float(true), rel=0.05)
        down = quantity(kind, values[1], start.name, rounding="maximum", to=to)
        assert (down["kind"], down["value"]) == ("exact", most["max"])
        assert ("as_published" in most) == (target is not start)


def test_a_value_never_crosses_its_one_limit_by_rounding() -> None:
    """7 N·m is 61.955 in·lbf by the NIST factor: nearest would be 62, above the maximum shown."""
    at_most = quantity("torque", Decimal("7"), "N·m", maximum=Decimal("7"), to=IMPERIAL)
    assert at_most["text"] == "61 in·lbf (≤ 61)"
    at_least = quantity("torque", Decimal("7.3"), "N·m", minimum=Decimal("7.28"), to=IMPERIAL)  # 64.61, 64.43
    assert at_least["text"] == "65 in·lbf (≥ 65)"
    at_least = quantity("pressure", Decimal("40.1"), "kPa", minimum=Decimal("40"), to=IMPERIAL)  # 5.816, 5.802
    assert at_least["text"] == "5.9 psi (≥ 5.9)"


def test_there_and_back_comes_home_within_the_steps_taken() -> None:
    rng = random.Random(22)
    for _ in range(2_000):
        _, start, target, values = drawn(rng)
        there = exact(values[0], start, target)
        assert exact(there, target, start) == values[0]


def test_published_digits_are_kept() -> None:
    q = quantity("torque", Decimal("7.30"), "Nm")
    assert q == {"kind": "exact", "value": 7.3, "unit": "N·m", "ucum": "N.m", "text": "7.30 N·m"}
    assert quantity("torque", Decimal("7.3"), "Nm")["text"] == "7.3 N·m"
    assert quantity("torque", Decimal("7.30"), "Nm", to=METRIC) == q


def test_the_example_of_the_contract() -> None:
    assert quantity("torque", Decimal("6.8"), "N·m") == {
        "kind": "exact", "value": 6.8, "unit": "N·m", "ucum": "N.m", "text": "6.8 N·m",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("value", "low", "high", "text", "shown"),
    [
        ("7", "6.5", "7.5", "7 N·m (6.5–7.5)", "62 in·lbf (58–66)"),
        (None, "6.5", "7.5", "6.5–7.5 N·m", "58–66 in·lbf"),
        (None, "6.5", None, "≥ 6.5 N·m", "≥ 58 in·lbf"),
        (None, None, "7.5", "≤ 7.5 N·m", "≤ 66 in·lbf"),
        ("7", None, "7.5", "7 N·m (≤ 7.5)", "62 in·lbf (≤ 66)"),
        (None, "7", "7.1", "7–7.1 N·m", "62.0–62.8 in·lbf"),
        (None, "7", "7.01", "7–7.01 N·m", "61.96–62.04 in·lbf"),
        ("7", "7", "7", "7 N·m", "7 N·m"),
    ],
)
def test_limits_are_read_out(value: str | None, low: str | None, high: str | None, text: str, shown: str) -> None:
    given = [None if each is None else Decimal(each) for each in (value, low, high)]
    published = quantity("torque", given[0], "N·m", minimum=given[1], maximum=given[2])
    imperial = quantity("torque", given[0], "N·m", minimum=given[1], maximum=given[2], to=IMPERIAL)
    assert (published["text"], imperial["text"]) == (text, shown)


@pytest.mark.parametrize(
    ("value", "low", "high", "kind", "figures"),
    [
        ("7", None, None, "exact", {"value": 7}),
        (None, "7", "7.0", "exact", {"value": 7}),
        ("7", "7", "7", "exact", {"value": 7}),
        ("7", "6.5", "7.5", "toleranced", {"value": 7, "min": 6.5, "max": 7.5}),
        ("7", "6.5", None, "toleranced", {"value": 7, "min": 6.5}),
        ("7", None, "7.5", "toleranced", {"value": 7, "max": 7.5}),
        (None, "13", "16", "range", {"min": 13, "max": 16}),
        (None, None, "160", "at_most", {"max": 160}),
        (None, "150", None, "at_least", {"min": 150}),
    ],
)
def test_the_kind_says_which_members_there_are(
    value: str | None, low: str | None, high: str | None, kind: str, figures: dict[str, float]
) -> None:
    given = [None if each is None else Decimal(each) for each in (value, low, high)]
    q = quantity("torque", given[0], "N·m", minimum=given[1], maximum=given[2], basis="published")
    shown = {name: q[name] for name in ("value", "min", "max") if name in q}  # type: ignore[literal-required]
    assert (q["kind"], shown, q["basis"]) == (kind, figures, "published")
    assert "share_percent" not in q
    assert_text_agrees(q)


@pytest.mark.parametrize(
    ("low", "high", "target"),
    [
        ("13", "16", 14),  # 14.5, ties to even
        ("13", "15", 14),
        ("6.5", "7", 6.8),  # 6.75
        ("0.50", "0.53", 0.52),  # 0.515
        ("7", "8", 8),  # 7.5, ties to even; still within
        ("-3", "4", 0),
    ],
)
def test_a_range_that_is_set_has_a_target_to_its_last_digit(low: str, high: str, target: float) -> None:
    given = {"minimum": Decimal(low), "maximum": Decimal(high)}
    q = quantity("torque", None, "N·m", **given, is_set=True)  # type: ignore[arg-type]
    assert (q["target"], "value" in q) == (target, False)
    assert "target" not in quantity("torque", None, "N·m", **given)  # type: ignore[arg-type]
    converted = quantity("torque", None, "N·m", **given, is_set=True, to=IMPERIAL)  # type: ignore[arg-type]
    assert converted["min"] <= converted["target"] <= converted["max"]


def test_only_a_range_has_a_target() -> None:
    assert "target" not in quantity("torque", Decimal("7"), "N·m", is_set=True)
    assert "target" not in quantity("torque", None, "N·m", maximum=Decimal("7"), is_set=True)
    both = quantity("torque", Decimal("7"), "N·m", minimum=Decimal("6"), maximum=Decimal("8"), is_set=True)
    assert "target" not in both


def test_the_one_figure_to_set() -> None:
    value, low, high = Decimal("7"), Decimal("6"), Decimal("9")
    assert to_set(quantity("torque", value, "N·m", minimum=low, maximum=high, is_set=True)) == 7
    assert to_set(quantity("torque", None, "N·m", minimum=low, maximum=high, is_set=True)) == 8  # 7.5, ties to even
    assert to_set(quantity("torque", None, "N·m", maximum=high, is_set=True)) == 9


def test_a_limit_in_a_sentence_has_no_sign() -> None:
    assert bare_limit(quantity("pressure", None, "psi", maximum=Decimal("160"))) == "160 psi"
    assert bare_limit(quantity("mass", None, "kg", minimum=Decimal("40"))) == "40 kg"


def test_a_maximum_fill_pressure_rounds_down() -> None:
    q = quantity("pressure", None, "psi", maximum=Decimal("160"), to=METRIC)
    assert q["text"] == "≤ 11.0 bar"  # 11.03 bar by NIST SP 811
    assert q["as_published"] == "≤ 160 psi"


def test_where_only_the_point_moves_no_digit_is_lost() -> None:
    assert quantity("volume", Decimal("8.25"), "cc", to=METRIC)["text"] == "8.25 mL"
    assert quantity("pressure", Decimal("551"), "kPa", to=METRIC)["text"] == "5.51 bar"
    assert quantity("length", Decimal("15.0"), "cm", to=METRIC)["text"] == "150 mm"


def test_a_value_too_small_for_the_step_gets_a_finer_one() -> None:
    assert quantity("length", Decimal("0.4"), "mm", to=IMPERIAL)["text"] == "0.0157 in"  # 0.015748 in
    assert quantity("volume", Decimal("2"), "mL", to=IMPERIAL)["text"] == "0.068 US fl oz"  # 0.06763 US fl oz


def test_nothing_to_show_is_an_error() -> None:
    with pytest.raises(ValueError, match="a value or a limit"):
        quantity("torque", None, "N·m")


def test_systems_name_the_units_of_the_contract() -> None:
    kinds: tuple[Kind, ...] = ("torque", "pressure", "volume", "mass", "length", "temperature")
    assert [SYSTEM_UNITS["metric"][kind] for kind in kinds] == ["N·m", "bar", "mL", "kg", "mm", "°C"]
    assert [SYSTEM_UNITS["imperial"][kind] for kind in kinds] == ["in·lbf", "psi", "US fl oz", "lb", "in", "°F"]


def test_a_kind_is_overridden_on_its_own() -> None:
    to = choose("imperial", {"torque_unit": "ft-lb", "pressure_unit": "kPa", "mass_unit": None})
    assert quantity("torque", Decimal("28"), "N·m", to=to)["text"] == "20.7 ft·lbf"
    assert quantity("pressure", Decimal("80"), "psi", to=to)["text"] == "552 kPa"
    assert quantity("absolute pressure", Decimal("1"), "atm", to=to)["text"] == "101 kPa(a)"
    assert quantity("mass", Decimal("80"), "kg", to=to)["text"] == "176 lb"
    assert hash(to) == hash(choose("imperial", {"pressure_unit": "kpa", "torque_unit": "lb-ft"}))


def test_every_pressure_and_temperature_override_carries_over() -> None:
    for each in units_of("pressure"):
        assert choose(None, {"pressure_unit": each.name}).overrides
    for each in units_of("temperature"):
        assert choose(None, {"temperature_unit": each.name}).overrides


def test_choices_that_cannot_be_read_are_all_named() -> None:
    with pytest.raises(Invalid) as refused:
        choose("si", {"torque_unit": "J", "mass_unit": "stones?"})
    assert [(fault.parameter, fault.code) for fault in refused.value.faults] == [
        ("units", "units-unknown"), ("torque_unit", "unit-of-another-kind"), ("mass_unit", "unit-unknown"),
    ]  # fmt: skip
    assert choose() == AS_PUBLISHED


def test_a_computed_value_is_that_of_exact_fractions() -> None:
    """Against round() and floor of Python's fractions, with no float on the way."""
    rng = random.Random(21)
    for _ in range(MANY):
        kind = rng.choice(KINDS)
        target = rng.choice(units_of(kind))
        value = rng.choice([0.0, rng.uniform(-1, 1) * 10 ** rng.randint(-9, 7), float(rng.randint(-50, 50)) / 4])
        ends = (value - abs(value) * rng.random(), value + abs(value) * rng.random())
        step = rng.choice([None, Decimal("0.1"), Decimal("0.10"), Decimal("0.05"), Decimal(10)])
        q = computed(kind, value, target.name, band=ends, step=step)
        by = Fraction(step if step is not None else step_for((Fraction(value) - target.offset) / target.factor, target))
        nominal, low, high = ((Fraction(each) - target.offset) / target.factor / by for each in (value, *ends))
        assert q["value"] == float(round(nominal) * by)
        assert (q["min"], q["max"]) == (float(math.floor(low) * by), float(math.ceil(high) * by))
        assert (q["kind"], q["share_percent"]) == ("estimate", 95)
        assert_text_agrees(q)
        untold = computed(kind, value, target.name, band=ends, step=step, band_in_text=False)
        assert untold == {**q, "text": computed(kind, value, target.name, step=step)["text"]}


def test_a_computed_value_carries_its_band_outward() -> None:
    """80 psi is 551 580.583 Pa (NIST SP 811)."""
    q = computed("pressure", 551580.583, "psi", band=(540000.0, 560000.0))
    assert (q["text"], q["basis"]) == ("80 psi (78–82)", "computed")
    unknown = computed("pressure", 551580.583, "psi", band=(540000.0, 560000.0), share=None)
    assert unknown == {name: value for name, value in q.items() if name != "share_percent"}
    assert computed("pressure", 551580.583, "psi")["kind"] == "exact"
    assert computed("pressure", 551580.583, "psi", to=METRIC)["text"] == "5.5 bar"
    assert computed("temperature", 293.15, "°C", to=IMPERIAL)["text"] == "68 °F"
    assert computed("length", 0.0384, "mm", rounding="maximum", step=Decimal("1"))["text"] == "38 mm"
    for endless in (float("nan"), float("inf")):
        with pytest.raises(ValueError):
            computed("pressure", endless, "psi")
