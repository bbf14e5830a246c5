"""The advice in the message for cells copied from manuals and spreadsheets; common practice, no source."""

import pytest

from app.catalogue.tables import Fit, Fluid, Row, Torque
from app.exchange.meant import how_to_write
from app.exchange.shown import shortened


@pytest.mark.parametrize(
    ("table", "column", "text", "fix"),
    [
        (Torque, "value", "7,3", "write 7.3"),
        (Torque, "value", "\u00a07.3 ", "write 7.3"),
        (Torque, "value", "0.8–1.0", "write 0.8 into min and 1.0 into max, and leave value empty"),
        (Torque, "value", "0,8 - 1,0", "write 0.8 into min and 1.0 into max, and leave value empty"),
        (Torque, "value", "10 (±1)", "write 10 into value, 9 into min and 11 into max"),
        (Torque, "value", "10 ± 0.5", "write 10 into value, 9.5 into min and 10.5 into max"),
        (Torque, "value", "N/A", "leave the cell empty: the source gives no figure"),
        (Torque, "value", "max. 0.6", "write 0.6 into max and leave value empty"),
        (Torque, "max", "≤ 0.6", "write 0.6 into max"),
        (Torque, "value", "min 5", "write 5 into min and leave value empty"),
        (Fluid, "viscosity_40_cst", "15-16", "write one figure: the page says 15 to 16, and this column has no limits "
                                             "beside it"),
        (Fit, "travel_mm", "—", "leave the cell empty: the source gives no figure"),
    ],
)  # fmt: skip
def test_the_fix_names_the_column_and_the_figure(table: type[Row], column: str, text: str, fix: str) -> None:
    assert how_to_write(table.columns()[column], text) == fix


@pytest.mark.parametrize(
    ("text", "shown"),
    [(" 7.3", "␣7.3"), ("7.3 ", "7.3␣"), ("7\u00a0000", "7␣000"), ("7\u200b.3", "7␣.3"), ("a b", "a b")],
)
def test_spaces_that_cannot_be_seen_are_shown(text: str, shown: str) -> None:
    assert shortened(text) == shown
