"""True but unusual facts, as printed in bulletins and in the manuals of children's, e-bike, dual crown, old and light
forks. All makers and forks are invented; which facts count as unusual is common practice, no source.

Each file describes one fork (the fact `base`) and facts about it, each of one or more rows. Each fact is applied to
the fork separately. `words` is the text on the page.
"""

import csv
import datetime as dt
from collections import defaultdict
from pathlib import Path
from typing import NamedTuple

import pytest

from app.catalogue.rows import MemoryRows, Overlay
from app.catalogue.tables import TABLES, Row, from_cells
from app.rules.engine import judge_all, judge_change
from app.rules.finding import Finding
from app.rules.registry import RULES
from app.rules.view import Change

FOLDER = Path(__file__).parent / "unusual"
TODAY = dt.date(2026, 6, 1)
LEAST_FACTS = 150
MOST_REFUSED = 2  # facts, without the words of the page
MOST_WARNED = 0.05  # of all facts


class Fact(NamedTuple):
    """One fact: its fork, its description, and its rows without and with the words of the page."""

    fork: str
    what: str
    rows: tuple[Row, ...]
    with_words: tuple[Row, ...]


def _row(table: str, id: str, cells: str, words: str) -> Row:
    described = TABLES[table]
    given = dict(part.split("=", 1) for part in cells.split(" | "))
    printed = {"as_printed": words} if words else {}
    return described.model_validate(from_cells(described, {"id": id, **given, **printed}))


def _read() -> tuple[dict[str, MemoryRows], list[Fact]]:
    forks: dict[str, MemoryRows] = {}
    facts: list[Fact] = []
    for path in sorted(FOLDER.glob("*.csv")):
        grouped: dict[str, list[dict[str, str]]] = defaultdict(list)
        with path.open(encoding="utf-8", newline="") as stream:
            for line in csv.DictReader(stream):
                grouped[line["fact"]].append(line)
        base = grouped.pop("base")
        forks[path.stem] = MemoryRows(_row(line["table"], line["id"], line["cells"], "") for line in base)
        for what, lines in grouped.items():
            plain, worded = (
                tuple(_row(line["table"], line["id"], line["cells"], line["words"] if words else "") for line in lines)
                for words in (False, True)
            )
            facts.append(Fact(path.stem, what, plain, worded))
    return forks, facts


FORKS, FACTS = _read()


def found(fact: Fact, rows: tuple[Row, ...]) -> list[Finding]:
    """The findings caused by a fact. Completeness does not count."""
    base = FORKS[fact.fork]
    changes = [Change(row.model, "put", row.id, base.one(row.model, row.id), row) for row in rows]
    after = Overlay(base, MemoryRows(rows), {})
    findings = judge_change(after, changes, TODAY, base)
    return [each for each in findings if RULES[each.rule].nature != "completeness"]


@pytest.mark.parametrize("fork", FORKS)
def test_the_forks_themselves_are_sound(fork: str) -> None:
    findings = judge_all(FORKS[fork], TODAY)
    assert [each for each in findings if RULES[each.rule].nature != "completeness"] == []


def test_there_are_enough_facts_of_each_kind() -> None:
    assert len(FACTS) >= LEAST_FACTS
    assert set(FORKS) == {"bulletins", "children", "dual-crown", "e-bike", "light", "old"}


def test_hardly_any_true_fact_is_refused_or_warned_of() -> None:
    refused, warned = [], []
    for fact in FACTS:
        findings = found(fact, fact.rows)
        rules = sorted({each.rule for each in findings})
        if any(each.severity == "reject" for each in findings):
            refused.append((fact.fork, fact.what, rules))
        elif findings:
            warned.append((fact.fork, fact.what, rules))
    assert len(refused) <= MOST_REFUSED, refused
    assert len(warned) <= MOST_WARNED * len(FACTS), warned


@pytest.mark.parametrize("fact", FACTS, ids=lambda fact: f"{fact.fork}: {fact.what}")
def test_no_true_fact_is_refused_with_the_words_of_its_page(fact: Fact) -> None:
    assert [each for each in found(fact, fact.with_words) if each.severity == "reject"] == []
