"""Slips among siblings. Factors between units: NIST SP 811, appendix B (1 in·lbf = 0.1129848 N·m, 1 psi = 6.894757 kPa,
1 US fl oz = 29.57353 mL, 1 lb = 0.4535924 kg, 1 ft·lbf = 1.355818 N·m)."""

import pytest

from app.catalogue.tables import Torque
from app.rules.bands import figure, torque_band
from app.rules.siblings import FACTORS, SiblingFigure, all_alike, slips
from app.units.table import Kind


def figures(*values: float, confirmed: bool = False) -> list[SiblingFigure]:
    made = []
    for place, value in enumerate(values):
        row = Torque.checked(
            id=f"t{place}", chassis="c", fastener="f", value=f"{value:.2f}", confirmed=confirmed or None
        )
        made.append(SiblingFigure(row, "value", value))
    return made


@pytest.mark.parametrize(
    ("kind", "meant", "written", "factor"),
    [
        ("torque", "N·m", "in·lbf", 0.1129848),
        ("torque", "N·m", "ft·lbf", 1.355818),
        ("torque", "N·m", "kgf·cm", 0.0980665),
        ("pressure", "kPa", "psi", 6.894757),
        ("pressure", "bar", "psi", 0.06894757),
        ("volume", "mL", "US fl oz", 29.57353),
        ("length", "mm", "in", 25.4),
        ("mass", "kg", "lb", 0.4535924),
    ],
)
def test_the_factors_of_confused_units_are_the_printed_ones(
    kind: Kind, meant: str, written: str, factor: float
) -> None:
    assert FACTORS[kind][meant, written] == pytest.approx(factor, rel=1e-6)


def test_a_torque_in_inch_pounds_among_four_is_certain() -> None:
    (slip,) = slips(figures(7.0, 7.0, 7.2, 7.0 * 0.1129848), ("torque",))
    assert (slip.figure.row.id, slip.reading, slip.certain) == ("t3", ("N·m", "in·lbf"), True)
    assert slip.usual == 7.0


def test_with_two_siblings_a_slip_is_only_likely() -> None:
    (slip,) = slips(figures(7.0, 7.0, 70.0), ("torque",))
    assert (slip.figure.row.id, slip.reading, slip.certain) == ("t2", None, False)


def test_a_figure_that_is_printed_so_is_no_evidence_about_the_others() -> None:
    found = figures(7, 7, 7, 70)
    odd = found[3].row.replaced(as_printed="70 N·m")
    (slip,) = slips([*found[:3], found[3]._replace(row=odd)], ("torque",))
    assert (slip.figure.row.id, slip.certain) == ("t3", True)
    words = {"as_printed": "7 N·m"}
    alike = [each._replace(row=each.row.replaced(**words)) for each in found[:3]]
    assert "t3" not in {slip.figure.row.id for slip in slips([*alike, found[3]], ("torque",))}


def test_two_figures_that_differ_are_told_once() -> None:
    assert len(slips(figures(7.0, 70.0), ("torque",))) == 1


def test_a_foot_pound_shows_only_among_closely_alike_siblings_and_is_certain_only_among_equal_ones() -> None:
    assert [slip.certain for slip in slips(figures(7.0, 7.0, 7.1, 9.5), ("torque",))] == [True]
    assert [slip.certain for slip in slips(figures(7.0, 7.0, 7.4, 9.5), ("torque",))] == [False]
    assert slips(figures(7.0, 8.0, 6.5, 9.5), ("torque",)) == []


def test_an_inch_pound_for_a_kilogram_force_centimetre_shows_only_among_equal_siblings() -> None:
    (slip,) = slips(figures(62.0, 62.0, 62.0, 62.0 * 1.15212), ("torque",))
    assert (slip.figure.row.id, slip.certain) == ("t3", False)
    assert slips(figures(62.0, 64.0, 62.0, 62.0 * 1.15212), ("torque",)) == []


@pytest.mark.parametrize("odd", [3.0, 5.0, 9.0, 12.0, 20.0, 40.0])
def test_a_difference_that_no_confusion_explains_is_no_slip(odd: float) -> None:
    assert slips(figures(7.0, 7.0, 7.0, odd), ("torque",)) == []


def test_siblings_that_differ_among_themselves_tell_nothing() -> None:
    assert slips(figures(3.0, 7.0, 15.0, 150.0), ("torque",)) == []
    assert all_alike([7.0, 7.2, 7.4])
    assert not all_alike([7.0, 7.2, 7.8])


def test_a_figure_is_compared_in_one_unit() -> None:
    row = Torque.checked(id="t", chassis="c", fastener="f", value="60", unit="in·lbf")
    assert figure(row.value, row.unit, "torque", "N·m") == pytest.approx(60 * 0.1129848, rel=1e-6)
    assert figure(row.value, "J", "torque", "N·m") is None
    assert figure(None, "N·m", "torque", "N·m") is None


def test_a_position_decides_its_band_before_its_kind() -> None:
    assert torque_band("spacer cap", "bolt") != torque_band("foot bolt", "bolt")
    assert torque_band("damper cap", "cap") == torque_band("top cap", "cap")
