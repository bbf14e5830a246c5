"""One thing under two ids is found, whatever its table; things with a distinguishing column are not."""

from datetime import date
from typing import Any

import pytest

from app.catalogue.rows import MemoryRows
from app.catalogue.tables import ENTITIES, TABLES, Chassis, Part, Row, Source, Spring
from app.rules.engine import judge_all, judge_change
from app.rules.identity import IDENTITIES, folded, same_thing
from app.rules.view import Change
from tests.rules.clean import clean_catalogue, clean_rows

TODAY = date(2025, 6, 1)
RULE = "entity-twice"


def copied(row: Row, **other: Any) -> Row:
    return row.replaced(**{"id": f"zz-{row.id}"[:80], **other})


def pairs(rows: MemoryRows) -> set[frozenset[str | None]]:
    """The ids named by each finding of a full check."""
    return {
        frozenset((each.id, each.collides_with.id))
        for each in judge_all(rows, TODAY)
        if each.rule == RULE and each.collides_with is not None
    }


def test_every_table_of_things_has_an_identity() -> None:
    assert set(IDENTITIES) == set(ENTITIES)
    for table, identity in IDENTITIES.items():
        assert {*identity.equal, *identity.apart, *identity.by} <= set(table.columns())


@pytest.mark.parametrize("table", ENTITIES, ids=lambda table: table.table)
def test_a_row_entered_twice_is_one_finding_with_both_ids(table: type[Row]) -> None:
    row = next(row for row in clean_rows().values() if row.model is table)
    copy = copied(row)
    rows = MemoryRows([*clean_rows().values(), copy])
    assert frozenset((row.id, copy.id)) in pairs(rows)
    found = judge_change(rows, [Change(table, "put", copy.id, None, copy)], TODAY, clean_catalogue())
    (finding,) = [each for each in found if each.rule == RULE]
    assert (finding.id, finding.severity) == (copy.id, "warn")  # the later id
    assert finding.collides_with is not None
    assert finding.collides_with.id == row.id
    assert row.id in finding.text
    assert copy.id in finding.text


def of(table: type[Row], id: str) -> Row:
    return clean_rows()[table.table, id]


@pytest.mark.parametrize(
    ("table", "id", "other", "same"),
    [
        (Chassis, "fork-a", {"name": "FORK-A"}, True),
        (Chassis, "fork-a", {"stanchion_diameter_mm": None, "marks": ("K4",), "travel_max_mm": 150.0}, True),
        (Chassis, "fork-a", {"model_year_to": 2026}, False),
        (Chassis, "fork-a", {"stanchion_diameter_mm": 37.0}, False),
        (Chassis, "fork-a", {"wheel_sizes": (559,)}, False),
        (Chassis, "fork-a", {"maker": "other"}, False),
        (Spring, "spring-150", {"part_number": "a 150"}, True),
        (Spring, "spring-150", {"part_number": None, "page": "9"}, True),
        (Spring, "spring-150", {"part_number": "A-1501"}, False),
        (Part, "washer-a", {"kind": "dust wiper"}, False),
        (Source, "manual-a", {"published_on": "2024"}, True),
        (Source, "manual-a", {"published_on": "2023"}, False),
        (Source, "manual-a", {"edition": "D"}, False),
    ],
)
def test_what_tells_two_rows_apart(table: type[Row], id: str, other: dict[str, Any], same: bool) -> None:
    row = of(table, id)
    copy = copied(row, **other)
    rows = MemoryRows([*clean_rows().values(), copy])
    assert (frozenset((row.id, copy.id)) in pairs(rows)) is same
    found = judge_change(rows, [Change(table, "put", copy.id, None, copy)], TODAY, clean_catalogue())
    assert any(each.rule == RULE for each in found) is same


def test_telling_apart_does_not_depend_on_which_row_comes_first() -> None:
    for row in clean_rows().values():
        for other in clean_rows().values():
            if row.model is other.model and TABLES[row.table].role == "entity":
                assert same_thing(row, other) == same_thing(other, row)


def test_a_name_is_folded_as_unicode_says() -> None:
    """NFKC and full case folding of the Unicode Standard (3.11, 3.13): ﬁ is fi, ß is ss."""
    assert folded("Ra\N{LATIN SMALL LIGATURE FI} 35") == folded("RAFI-35")
    assert folded("Strau\N{LATIN SMALL LETTER SHARP S}") == folded("STRAUSS")
    assert folded("Pro") != folded("Pro+")
