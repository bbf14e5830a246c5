"""The unit table and the conversion answer."""

from decimal import Decimal
from fractions import Fraction

import pytest

from app.errors import Invalid
from app.units.describe import convert, unit_table
from app.units.table import KINDS, find, units_of


def test_a_conversion_by_the_printed_factor() -> None:
    """65 lbf·in is 7.344013886795 N·m by the exact factor 0.1129848290276167 (NIST SP 811: 1.129848 E-01)."""
    answer = convert("65", "in-lb", "Nm")
    assert answer["kind"] == "torque"
    assert answer["factor"] == "0.1129848290276167"
    assert answer["exact"] == "7.3440138867950855"
    assert answer["result"] == {
        "kind": "exact", "value": 7.3, "unit": "N·m", "ucum": "N.m", "text": "7.3 N·m", "as_published": "65 in·lbf",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("rounding", "digits", "text"),
    [
        ("nearest", None, "7.3 N·m"), ("up", None, "7.4 N·m"), ("down", None, "7.3 N·m"), ("nearest", 3, "7.344 N·m"),
        ("up", 3, "7.345 N·m"), ("nearest", 0, "7 N·m"), ("none", None, "7.3440138867950855 N·m"),
        ("none", 2, "7.3440138867950855 N·m"),
    ],
)  # fmt: skip
def test_rounding_is_as_asked(rounding: str, digits: int | None, text: str) -> None:
    answer = convert("65", "in-lb", "Nm", rounding=rounding, digits=digits)
    assert answer["result"]["text"] == text
    assert answer["result"]["value"] == float(text.split()[0])


def test_a_temperature_and_a_difference_have_two_defined_answers() -> None:
    absolute, difference = convert("20", "°C", "°F"), convert("20", "Δ°C", "Δ°F")
    assert (absolute["result"]["text"], absolute["factor"], absolute["offset"]) == ("68 °F", "1.8", "32")
    assert (difference["result"]["text"], difference["factor"]) == ("36 Δ°F", "1.8")
    assert "offset" not in difference


def test_stated_absolute_pressure_converts_and_unstated_does_not() -> None:
    assert convert("1", "atm", "psi abs")["result"]["text"] == "14.7 psi(a)"  # 14.6959 psi, NIST SP 811
    with pytest.raises(Invalid) as refused:
        convert("80", "psi", "bar abs")
    assert refused.value.faults[0].code == "unit-of-another-kind"


@pytest.mark.parametrize(
    ("arguments", "parameter", "code"),
    [
        (("x", "psi", "bar"), "value", "not-a-number"),
        (("1e999", "psi", "bar"), "value", "number-too-large"),
        (("1", "9**9**9", "bar"), "from", "unit-unknown"),
        (("1", "psi", "barr"), "to", "unit-unknown"),
        (("1", "N·m", "J"), "to", "unit-of-another-kind"),
        (("1", "mL", "g"), "to", "unit-of-another-kind"),
    ],
)
def test_what_cannot_be_converted_names_its_parameter(
    arguments: tuple[str, str, str], parameter: str, code: str
) -> None:
    with pytest.raises(Invalid) as refused:
        convert(*arguments)
    assert (refused.value.faults[0].parameter, refused.value.faults[0].code) == (parameter, code)


def test_rounding_and_digits_are_checked() -> None:
    for wrong, parameter in (({"rounding": "inward"}, "round"), ({"digits": 13}, "digits"), ({"digits": -1}, "digits")):
        with pytest.raises(Invalid) as refused:
            convert("1", "psi", "bar", **wrong)  # type: ignore[arg-type]
        assert refused.value.faults[0].parameter == parameter


def test_minus_zero_is_zero() -> None:
    for rounding in ("nearest", "up", "down", "none"):
        for value in ("-0", "-0.0", "-0.0000001"):
            text = convert(value, "psi", "bar", rounding=rounding, digits=2)["result"]["text"]
            assert not text.startswith("-0.00 "), (rounding, value)


def test_exact_is_value_times_factor_where_the_digits_end() -> None:
    for kind in KINDS:
        for here in units_of(kind):
            for there in units_of(kind):
                answer = convert("3", here.name, there.name, rounding="none")
                exactly = Decimal(answer["factor"]) * 3 + Decimal(answer.get("offset", "0"))
                assert abs(Decimal(answer["exact"]) - exactly) <= abs(exactly) * Decimal("1e-25") + Decimal("1e-25")
                assert answer["result"]["value"] == pytest.approx(float(answer["exact"]), rel=1e-15)
                assert answer["kind"] == find(here.name)[0].kind or here.name == "MPa"


def test_the_table_is_enough_to_build_a_unit_picker() -> None:
    table = unit_table()
    assert [row["kind"] for row in table["kinds"]] == list(KINDS)
    for row in table["kinds"]:
        names = [each["unit"] for each in row["units"]]
        assert len(names) == len(set(names))
        assert row["meaning"]
        for system in ("metric", "imperial"):
            assert row.get(system, names[0]) in names
        for each in row["units"]:
            assert each["spellings"][0] == each["unit"]
            assert Fraction(each["factor"]) > 0
            assert Decimal(each["display_step"]) > 0
            assert each["ucum"]
    torque = table["kinds"][0]
    assert (torque["parameter"], torque["metric"], torque["imperial"]) == ("torque_unit", "N·m", "in·lbf")
