"""The closed table: accepted spellings, kinds that stay apart, hostile text refused at once."""

import time

import pytest

from app.errors import Invalid
from app.units.table import KINDS, Kind, common_kind, find, normalised, unit, units_of

# The golden table: common practice, no source, save the first of each row (SI Brochure, UCUM print symbols).
GOLDEN: list[tuple[Kind, str, str]] = [
    (kind, name, spelling)
    for kind, name, spellings in [
        ("torque", "N·m", "N·m|Nm|N m|N.m|N-m|N*m|N⋅m|NM|newton metres|Newton-Meter"),
        ("torque", "in·lbf", "in·lbf|in-lb|in lb|inch pounds|inch-pounds|in-lbs|in.lb|inlb|lbf·in|lb-in|IN-LB|in·lb"),
        ("torque", "ft·lbf", "ft·lbf|ft-lb|ft lb|ft-lbs|foot pounds|foot-pounds|lb-ft|lbf·ft|lbs ft|FT-LB"),
        ("torque", "kgf·cm", "kgf·cm|kgf cm|kg·cm|kg-cm|kgcm|kp·cm"),
        ("pressure", "psi", "psi|PSI|psig|psi(g)|lbf/in²|lb/in2|[psi]"),
        ("pressure", "bar", "bar|Bar|BAR|barg|bar(g)"),
        ("pressure", "kPa", "kPa|KPa|kpa"),
        ("pressure", "kgf/cm²", "kgf/cm²|kgf/cm2|kg/cm²|kg/cm^2"),
        ("absolute pressure", "psi(a)", "psi(a)|psia|psi abs|PSIA"),
        ("absolute pressure", "bar(a)", "bar(a)|bara|bar abs|bar absolute"),
        ("absolute pressure", "hPa", "hPa|mbar"),
        ("volume", "mL", "mL|ml|cc|CC|ccm|millilitres"),
        ("volume", "cm³", "cm³|cm3|cm^3"),
        ("volume", "US fl oz", "US fl oz|fl oz|fl. oz.|floz|FL OZ|fluid ounces|[foz_us]"),
        ("volume", "imp fl oz", "imp fl oz|imperial fl oz|UK fl oz"),
        ("length", "mm", "mm|㎜|millimetres"),
        ("length", "µm", "µm|μm|um|micron"),
        ("length", "in", 'in|in.|inch|inches|"|″|IN'),
        ("length", "m", "m|metres"),
        ("mass", "kg", "kg|KG|kgs|kilos"),
        ("mass", "lb", "lb|lbs|LB|pounds"),
        ("force", "lbf", "lbf|pound-force"),
        ("spring rate", "lbf/in", "lbf/in|lb/in|lbs/in"),
        ("spring rate", "N/mm", "N/mm"),
        ("kinematic viscosity", "cSt", "cSt|cst|CST"),
        ("kinematic viscosity", "mm²/s", "mm²/s|mm2/s|mm^2/s"),
        ("density", "g/mL", "g/mL|g/ml|g/cc"),
        ("temperature", "°C", "°C|C|degC|℃|deg C|ºC|Cel"),
        ("temperature", "°F", "°F|F|degF|℉"),
        ("angle", "°", "°|º|deg|degrees"),
        ("duration", "h", "h|hr|hours"),
        ("percent", "%", "%|percent|％"),
    ]
    for spelling in spellings.split("|")
]  # fmt: skip


@pytest.mark.parametrize(("kind", "name", "spelling"), GOLDEN)
def test_a_spelling_of_the_trade_is_read_as_its_unit(kind: Kind, name: str, spelling: str) -> None:
    assert unit(kind, spelling).name == name
    assert find(spelling)[0].kind == kind


def test_case_carries_meaning_in_si_symbols() -> None:
    for wrong in ("Mm", "MM", "nm", "mpa", "ML", "k", "Kelvins·", "pA", "mN·m", "M"):
        assert not find(wrong), wrong


def test_every_spelling_in_the_table_is_read_as_its_own_unit() -> None:
    for kind in KINDS:
        for each in units_of(kind):
            for spelling in each.spellings:
                assert unit(kind, spelling) is each, spelling
                assert len(spelling) <= 24


def test_within_a_kind_no_spelling_means_two_units() -> None:
    for kind in KINDS:
        owners: dict[str, str] = {}
        for each in units_of(kind):
            for spelling in each.spellings:
                assert owners.setdefault(normalised(spelling), each.name) == each.name, spelling


def test_torque_never_becomes_energy() -> None:
    for torque in units_of("torque"):
        for energy in units_of("energy"):
            with pytest.raises(Invalid) as refused:
                common_kind(torque.name, energy.name)
            assert refused.value.faults[0].code == "unit-of-another-kind"
            assert "torque" in refused.value.detail
            assert "energy" in refused.value.detail


def test_no_unit_of_one_kind_converts_to_a_unit_only_of_another() -> None:
    for one in KINDS:
        for other in KINDS:
            if one == other or {one, other} == {"pressure", "stress"}:  # both have MPa
                continue
            with pytest.raises(Invalid) as refused:
                common_kind(units_of(one)[0].name, units_of(other)[0].name)
            assert refused.value.faults[0].code == "unit-of-another-kind"


@pytest.mark.parametrize(
    ("start", "target"),
    [
        ("psi", "psi abs"),
        ("bar(a)", "bar"),
        ("psig", "bara"),
        ("mL", "g"),
        ("°C", "Δ°F"),
        ("kg", "lbf"),
        ("h", "months"),
    ],
)
def test_kinds_that_look_alike_stay_apart(start: str, target: str) -> None:
    with pytest.raises(Invalid) as refused:
        common_kind(start, target)
    assert refused.value.faults[0].code == "unit-of-another-kind"
    assert refused.value.faults[0].parameter == "to"


def test_a_unit_of_the_wrong_kind_is_refused_with_the_permitted_ones() -> None:
    with pytest.raises(Invalid) as refused:
        unit("torque", "J", parameter="torque_unit")
    fault = refused.value.faults[0]
    assert (fault.code, fault.parameter) == ("unit-of-another-kind", "torque_unit")
    assert "N·m, N·cm, in·lbf, ft·lbf, kgf·cm, kgf·m" in fault.text


@pytest.mark.parametrize(
    ("kind", "spelling", "meant"),
    [("torque", "nm", "N·m"), ("pressure", "psy", "psi"), ("length", "MM", "mm"), ("volume", "mll", "mL")],
)
def test_an_unknown_unit_is_refused_with_the_nearest(kind: Kind, spelling: str, meant: str) -> None:
    with pytest.raises(Invalid) as refused:
        unit(kind, spelling)
    assert refused.value.faults[0].code == "unit-unknown"
    assert refused.value.faults[0].suggestion == meant


@pytest.mark.parametrize(
    "hostile",
    [
        "9**9**9", "(" * 10_000, "__import__", "__import__('os')", "m" * 5_000, "m**9", "1e9 m", "N·m" * 3_000,
        "\x00", "mm\x00", "\ud800", "\u202emm", "mm\r\nX: y", "", " ", "{}", "%s", "㎜" * 2_000, "ﷺ" * 5_000,
        "m/s/s/s/s",
    ],
    ids=lambda text: ascii(text[:12]),
)  # fmt: skip
def test_hostile_text_is_refused_at_once_and_never_echoed_long(hostile: str) -> None:
    began = time.process_time()
    with pytest.raises(Invalid) as refused:
        unit("length", hostile)
    with pytest.raises(Invalid):
        common_kind(hostile, hostile)
    assert time.process_time() - began < 0.02
    assert refused.value.faults[0].code == "unit-unknown"
    assert len(refused.value.detail) < 200
    assert all(character.isprintable() for character in refused.value.detail)
