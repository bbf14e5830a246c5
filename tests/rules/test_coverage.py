"""A rule checks every column in addition to reading, or the code says why not; the page lists which."""

from app.catalogue.tables import TABLES
from app.rules.coverage import UNCHECKED, coverage, unchecked
from app.rules.registry import RULES
from tests.rules.matrix import PAGE, page


def test_no_column_is_blank_without_a_reason() -> None:
    assert unchecked() == []


def test_no_reason_is_given_for_columns_that_are_checked_everywhere() -> None:
    checked = coverage()
    blank = {name for table in TABLES.values() for name in table.columns() if not checked.get((table.table, name))}
    assert set(UNCHECKED) == blank


def test_the_matrix_names_rules_that_exist() -> None:
    named = {slug for each in coverage().values() for slugs in each.values() for slug in slugs}
    assert named <= set(RULES)
    judging = {slug for slug, rule in RULES.items() if rule.judge is not None}
    assert judging - named == set(), "every rule reads some column"


def test_relations_are_seen_where_they_are() -> None:
    checked = coverage()
    assert "frame-does-not-close" in checked["frames", "reach_mm"]["in its row"]
    assert "torque-outside-band" in checked["torques", "value"]["word or band"]
    assert "fluid-unsafe-for-seals" in checked["fluids", "seal_safe"]["across rows"]
    assert "reference-missing" in checked["springs", "superseded_by"]["reference"]


def test_the_page_holds_the_matrix() -> None:
    assert PAGE.read_text(encoding="utf-8") == page()
