"""Every rule in the registry has a doc and two examples, and its failing example fires no other rule."""

from datetime import date

import pytest

from app.catalogue.rows import MemoryRows
from app.rules.engine import judge_all, judge_change
from app.rules.finding import Finding
from app.rules.registry import RULES, RowEdit, Rule
from app.rules.view import Change
from tests.rules.clean import clean_catalogue, clean_rows, edited, with_edit

TODAY = date(2025, 6, 1)
JUDGING = [rule for rule in RULES.values() if rule.judge is not None]
IMPLAUSIBLE = [rule for rule in JUDGING if rule.nature == "implausible"]
NAMES_ONLY = {
    "older-edition-over-newer",
    "spring-not-of-chassis",
    "fastener-unlike-its-place",
    "service-unlike-damper",
    "superseded-by-another-kind",
    "variant-named-twice",
}  # the doubtful cell is a name, which any words of the page support


def findings_of(change: RowEdit) -> list[Finding]:
    """The findings of the engine for the clean catalogue with one edit, judged as a change."""
    row = edited(change)
    before = clean_rows().get((change.table, row.id))
    made = Change(row.model, "put", row.id, before, row)
    return judge_change(with_edit(change), [made], TODAY, clean_catalogue())


def test_the_clean_catalogue_has_no_finding() -> None:
    assert list(judge_all(clean_catalogue(), TODAY)) == []


@pytest.mark.parametrize("rule", JUDGING, ids=lambda rule: rule.slug)
def test_the_failing_example_fires_its_rule_and_no_other(rule: Rule) -> None:
    assert rule.fails is not None
    findings = findings_of(rule.fails)
    assert {finding.rule for finding in findings} == {rule.slug}
    assert all(finding.table and finding.id and finding.text and finding.fix for finding in findings)


@pytest.mark.parametrize("rule", JUDGING, ids=lambda rule: rule.slug)
def test_the_passing_example_fires_nothing(rule: Rule) -> None:
    assert rule.passes is not None
    assert rule.passes != rule.fails
    assert [finding for finding in findings_of(rule.passes) if finding.severity != "accepted"] == []


@pytest.mark.parametrize("rule", IMPLAUSIBLE, ids=lambda rule: rule.slug)
def test_no_implausible_rule_is_without_a_way_out(rule: Rule) -> None:
    """With the words of the page, the failing example is accepted and shown as unusual."""
    assert rule.printed is not None
    assert rule.printed.cells["as_printed"]
    findings = findings_of(rule.printed)
    assert {(finding.rule, finding.severity) for finding in findings} == {(rule.slug, "accepted")}
    assert all(finding.text.startswith("unusual, as printed: ") for finding in findings)


@pytest.mark.parametrize("rule", IMPLAUSIBLE, ids=lambda rule: rule.slug)
def test_words_without_the_figure_clear_nothing(rule: Rule) -> None:
    assert rule.fails is not None
    if rule.slug in NAMES_ONLY:
        return
    words = rule.fails._replace(cells={**rule.fails.cells, "as_printed": "as the page says, number 987654321"})
    assert rule.slug in {finding.rule for finding in findings_of(words) if finding.severity != "accepted"}


@pytest.mark.parametrize("rule", RULES.values(), ids=lambda rule: rule.slug)
def test_every_rule_says_what_why_and_how_to_fix(rule: Rule) -> None:
    assert min(len(rule.what), len(rule.why), len(rule.fix)) > 20
    assert set(rule.silenced_by) <= set(RULES) | {each.family for each in RULES.values()}


def test_an_empty_catalogue_has_no_finding() -> None:
    assert list(judge_all(MemoryRows(), TODAY)) == []
