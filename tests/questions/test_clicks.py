"""Counts with their datum: clicks from both ends, turns and levels, in every view. Common practice, no source."""

from decimal import Decimal

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import Chassis, Damper, Guide
from app.questions.answers.clicks import clicks_of_dampers
from app.questions.setup.parameters import SetupAsked
from app.questions.setup.setup import setup
from app.questions.sheet.sheet import SheetAsked, sheet
from app.units.counts import AdjusterCount, clicks_view, turns_view


def damper(id: str, **cells: object) -> Damper:
    return Damper.model_validate({"id": id, "maker": "maker", "name": id, **cells})


def test_clicks_are_counted_from_both_ends_if_the_total_is_known() -> None:
    assert clicks_view(AdjusterCount(8), "closed", 18) == {
        "count": 8, "from": "closed", "total": 18, "count_from_other_end": 10,
        "text": "8 clicks from closed (10 from open)",
    }  # fmt: skip
    assert clicks_view(AdjusterCount(1), "open", None) == {"count": 1, "from": "open", "text": "1 click from open"}


def test_an_unknown_datum_is_said_in_words() -> None:
    assert clicks_view(AdjusterCount(8), None, 18) == {
        "count": 8,
        "total": 18,
        "text": "8 clicks, counted from an unstated end",
    }


def test_more_clicks_than_the_damper_has_are_not_counted_from_the_other_end() -> None:
    assert "count_from_other_end" not in clicks_view(AdjusterCount(19), "closed", 18)


@pytest.mark.parametrize(
    ("dampers", "text"),
    [
        ([damper("a", clicks_from="open", rebound_clicks=10)], "4 clicks from open (6 from closed)"),
        (
            [damper("a", clicks_from="open", rebound_clicks=10), damper("b", clicks_from="open", rebound_clicks=12)],
            "4 clicks from open",
        ),
        (
            [damper("a", clicks_from="open"), damper("b", clicks_from="closed")],
            "4 clicks, counted from an end that depends on the damper",
        ),
        ([damper("a", clicks_from="open"), damper("b")], "4 clicks, counted from an end that depends on the damper"),
        ([damper("a", rebound_clicks=10)], "4 clicks, counted from an unstated end"),
        ([], "4 clicks, counted from an unstated end"),
    ],
)
def test_the_damper_that_may_be_fitted_gives_the_datum(dampers: list[Damper], text: str) -> None:
    assert clicks_of_dampers(AdjusterCount(4), "rebound_clicks", dampers)["text"] == text


def test_turns_are_counted_from_the_least_preload() -> None:
    assert turns_view(AdjusterCount(Decimal(4)))["text"] == "4 turns in from minimum preload"
    assert turns_view(AdjusterCount(Decimal("1.0")))["text"] == "1 turn in from minimum preload"


def test_every_click_of_the_demo_has_its_datum_in_set_up_and_sheet(loaded: Catalogue) -> None:
    """Three dampers of the demo count from open; a bare number would be wrong by most of the range."""
    ends = set()
    with loaded.snapshot() as snapshot:
        dampers = {row.id: row for row in snapshot.all(Damper)}
        chassis = {row.id: row for row in snapshot.all(Chassis)}
        guides = {row.id: row for row in snapshot.all(Guide)}
        shown = []
        for id in chassis:
            shown += sheet(snapshot, id, SheetAsked())["guides"]
            shown += setup(snapshot, id, SetupAsked(rider_mass="80"))["published"]
        for each in shown:
            row = guides[each["id"]]
            possible = [row.damper] if row.damper else chassis[row.chassis].dampers or ()
            for clicks in (each.get("rebound_clicks"), each.get("compression_clicks")):
                if clicks is not None:
                    assert clicks["from"] in {dampers[id].clicks_from for id in possible}, row.id
                    assert clicks["text"].count(" from ") == 2, row.id
                    ends.add(clicks["from"])
    assert ends == {"open", "closed"}
