"""Parameters that are measures: which texts are read, which are refused, and how fast."""

import time
from decimal import Decimal

import pytest

from app.errors import Invalid
from app.units.measure import parse_measure, parse_number, parse_reading, parse_wheel_size


def length(text: str) -> Decimal:
    return parse_measure(text, kind="length", usual="mm", parameter="travel").value


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("150", "150"), ("150.0", "150.0"), (" 150 ", "150"), ("150mm", "150"), ("150 mm", "150"), ("5.9in", "149.86"),
        ('6"', "152.4"), ("15cm", "150"), (".5in", "12.7"), ("-0", "0"), ("0.0", "0.0"), ("1.5e2", "150"),
        ("-3mm", "-3"),
    ],
)  # fmt: skip
def test_a_length_is_read(text: str, mm: str) -> None:
    assert length(text) == Decimal(mm)
    assert str(length(text)) != "-0"


def test_a_length_with_a_unit_knows_half_its_last_digit() -> None:
    inches = parse_measure("5.9in", kind="length", usual="mm", parameter="travel")
    assert (inches.half_last_digit, inches.given_unit, inches.given_value) == (Decimal("1.27"), "in", Decimal("5.9"))
    assert inches.with_unit
    plain = parse_measure("150", kind="length", usual="mm", parameter="travel")
    assert (plain.half_last_digit, plain.with_unit, plain.unit) == (0, False, "mm")


def test_other_kinds_are_read_in_their_usual_units() -> None:
    assert parse_measure("180 lb", kind="mass", usual="kg", parameter="rider_mass").value == Decimal("81.6466266")
    assert parse_measure("68F", kind="temperature", usual="°C", parameter="temperature").value == 20
    assert parse_measure("6 bar", kind="pressure", usual="psi", parameter="p").value == pytest.approx(
        Decimal("87.022642638126")
    )
    sag = parse_measure("38mm", kind="percent", usual="%", parameter="sag", also={"length": "mm"})
    assert (sag.kind, sag.value) == ("length", 38)
    assert parse_measure("25", kind="percent", usual="%", parameter="sag", also={"length": "mm"}).kind == "percent"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "not-a-number"), ("NaN", "not-a-number"), ("nan", "not-a-number"), ("inf", "not-a-number"),
        ("-Infinity", "not-a-number"), ("1e999", "number-too-large"), ("-1e999", "number-too-large"),
        ("1e99999", "number-too-large"), ("1e-400", "number-too-small"), ("9" * 5_000, "too-long"),
        ("1" * 60, "not-a-number"), ("1e" + "9" * 60, "unit-unknown"),
        ("\x00", "not-a-number"), ("150\x00", "unit-unknown"),
        ("١٥٠", "not-a-number"), ("１５０", "not-a-number"), ("²", "not-a-number"), ("150²", "not-a-number"),
        ("\ud800", "not-a-number"), ("150\u202emm", "unit-unknown"), ("5,9in", "not-a-number"),
        ("1,500", "not-a-number"),
        ("5.9.1", "not-a-number"), ("--5", "not-a-number"), ("mm", "not-a-number"), ("150 Nm", "unit-of-another-kind"),
        ("150 furlongs", "unit-unknown"), ("9**9**9", "unit-unknown"), ("1" + "(" * 10_000, "too-long"),
        ("5 5", "unit-unknown"), ("0x10", "unit-unknown"), ("1_000", "unit-unknown"), ("1e5e5", "unit-unknown"),
    ],
    ids=lambda text: ascii(text[:14]),
)  # fmt: skip
def test_what_is_no_measure_is_refused_within_a_millisecond(text: str, code: str) -> None:
    fastest = 1.0
    for _ in range(3):
        began = time.perf_counter()
        with pytest.raises(Invalid) as refused:
            length(text)
        fastest = min(fastest, time.perf_counter() - began)
    fault = refused.value.faults[0]
    assert (fault.code, fault.parameter) == (code, "travel")
    assert all(character.isprintable() for character in fault.text)
    assert len(fault.text) < 200
    assert fastest < 0.001


def test_a_decimal_comma_is_refused_with_the_fix() -> None:
    with pytest.raises(Invalid) as refused:
        length("5,9in")
    assert refused.value.faults[0].suggestion == "5.9in"
    assert "point" in refused.value.detail


def test_a_range_is_closed_and_named() -> None:
    def sag(text: str) -> Decimal:
        return parse_measure(
            text, kind="percent", usual="%", parameter="sag", minimum=Decimal(5), maximum=Decimal(50)
        ).value

    assert (sag("5"), sag("50")) == (5, 50)
    for outside, nearest in (("4.9", "5"), ("50.1", "50")):
        with pytest.raises(Invalid) as refused:
            sag(outside)
        assert refused.value.faults[0].code == "out-of-range"
        assert refused.value.detail == "sag must be at least 5 % and at most 50 %"
        assert refused.value.faults[0].suggestion == nearest


@pytest.mark.parametrize(
    ("text", "diameter"),
    [
        ("29", 622),
        ("27.5", 584),
        ("26", 559),
        ('29"', 622),
        ("27.5in", 584),
        ("26 in", 559),
        ("622", 622),
        ("584mm", 584),
    ],
)
def test_wheels_are_read_by_trade_name_or_bead_seat_diameter(text: str, diameter: int) -> None:
    """ISO 5775 bead seat diameters, from memory; the trade's names are common practice, no source."""
    assert parse_wheel_size(text) == diameter


@pytest.mark.parametrize(
    "text", ["28", "27", "700c", "0", "-29", "29.0", "٦٢٢", "²²²", "6222", "", "29\x00", "9" * 5_000, "199", "701"]
)
def test_other_wheels_are_refused(text: str) -> None:
    with pytest.raises(Invalid) as refused:
        parse_wheel_size(text)
    assert (refused.value.faults[0].code, refused.value.faults[0].parameter) == ("wheel-size-unknown", "wheel_size")


def test_a_reading_is_a_sag_at_a_pressure() -> None:
    reading = parse_reading("38mm@72psi")
    assert (reading.travel.value, reading.pressure.value) == (38, 72)
    assert parse_reading("1.5in @ 5 bar").travel.value == Decimal("38.1")
    assert parse_reading("38@72").pressure.unit == "psi"


@pytest.mark.parametrize(
    "text", ["38mm", "38mm@72psi@1", "@", "38mm@", "@72psi", "72psi@38mm", "38mm@72psi abs", "@" * 9_000]
)
def test_what_is_no_reading_is_refused(text: str) -> None:
    with pytest.raises(Invalid) as refused:
        parse_reading(text)
    assert refused.value.faults[0].parameter == "reading"


def test_a_number_alone_takes_no_unit() -> None:
    assert parse_number("65") == 65
    with pytest.raises(Invalid):
        parse_number("65 psi")
