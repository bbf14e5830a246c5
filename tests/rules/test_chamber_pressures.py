"""Pressures of guides against the maxima of the chambers they fill."""

from datetime import date

from app.catalogue.rows import MemoryRows
from app.rules.engine import judge_all
from app.rules.registry import edit
from tests.rules.clean import clean_rows, edited


def test_a_guide_with_a_range_is_faulted_for_its_maximum() -> None:
    """130 psi fills the second chamber to 182 psi, and its maximum is 180 psi; 80 psi is well below."""
    guide = edited(edit("guides", "guide-dual", pressure="80", pressure_max="130"))
    rows = MemoryRows({**clean_rows(), ("guides", guide.id): guide}.values())
    found = [each for each in judge_all(rows, date(2025, 6, 1)) if each.rule == "pressure-above-chamber"]
    assert [(each.id, each.column, each.value) for each in found] == [("guide-dual", "pressure_max", "130")]
