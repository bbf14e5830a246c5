"""Changes on a sheet: none, a statement added, withdrawn, changed or overruled, and a time before the chassis
existed."""

from typing import Any

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import Chassis, Fastener, Interval, Row, Source, Torque
from app.database.connections import Database
from app.errors import Invalid
from app.questions.sheet.changes import SheetChangesAnswer, SheetChangesAsked, sheet_changes
from tests.questions.storing import store


def torque(id: str = "torque", **more: Any) -> Torque:
    cells = {
        "id": id,
        "chassis": "fork",
        "fastener": "bolt",
        "value": "6.8",
        "unit": "N·m",
        "source": "doc",
        "page": "4",
    }
    return Torque.checked({**cells, **more})


def interval(**more: Any) -> Interval:
    cells = {"id": "interval", "chassis": "fork", "operation": "lower-leg-service", "hours": 50, "source": "doc"}
    return Interval.checked({**cells, **more})


START: list[Row] = [
    Source.checked(id="doc", title="Invented", kind="manual", invented=True),
    Chassis.checked({"id": "fork", "maker": "maker", "name": "Fork", "model_year_from": 2020, "model_year_to": 2024}),
    Fastener.checked(id="bolt", chassis="fork", position="foot bolt", kind="bolt"),
    torque(),
    interval(),
]


def changed(database: Database, since: int = 1, **given: Any) -> SheetChangesAnswer:
    asked = SheetChangesAsked.model_validate({"since": since, **given})
    return Catalogue(database).answer(lambda snapshot: sheet_changes(snapshot, "fork", asked))


def summary(answer: SheetChangesAnswer) -> list[tuple[str, str, str]]:
    return [(each["change"], each["table"], each["id"]) for each in answer["changes"]]


def test_a_sheet_on_which_nothing_changed_says_so(database: Database) -> None:
    store(database, START)
    store(database, [Source(id="another", title="Other", kind="manual")])
    answer = changed(database)
    assert (answer["revision"], answer["since"], answer["changes"], answer["unchanged"]) == (2, 1, [], 2)
    assert "Nothing" in answer["text"]


def test_a_changed_figure_is_shown_before_and_after_in_the_units_asked(database: Database) -> None:
    store(database, START)
    store(database, [torque(value="7.3")])
    (change,) = changed(database, units="imperial")["changes"]
    assert (change["change"], change["table"], change["differs"]) == ("changed", "torques", ["torque"])
    assert change["before"]["torque"]["as_published"] == "6.8 N·m"
    assert change["after"]["torque"]["as_published"] == "7.3 N·m"


def test_what_was_added_and_what_was_withdrawn_are_listed(database: Database) -> None:
    store(database, START)
    row = Torque.checked(
        {
            "id": "second",
            "chassis": "fork",
            "fastener": "bolt",
            "stage": 2,
            "value": "9",
            "unit": "N·m",
            "source": "doc",
        }
    )
    store(database, [row], withdrawn=[interval()])
    answer = changed(database)
    assert summary(answer) == [("added", "torques", "second"), ("removed", "intervals", "interval")]
    assert "withdrawn" in answer["changes"][1]["text"]
    assert [gap["what"] for gap in answer["gaps_opened"]] == ["interval"]
    assert answer["unchanged"] == 1


def test_an_overruled_statement_is_gone_from_the_sheet_though_it_stands(database: Database) -> None:
    store(database, START)
    store(database, [torque("late", value="7.3", model_year_from=2023, exception_to="torque")])
    answer = changed(database, model_year=2024)
    assert summary(answer) == [("removed", "torques", "torque"), ("added", "torques", "late")]
    assert "still in the catalogue" in answer["changes"][0]["text"]
    assert changed(database, model_year=2021)["changes"] == []


def test_a_closed_gap_is_listed(database: Database) -> None:
    store(database, [row for row in START if row.id != "interval"])
    store(database, [interval()])
    assert [gap["what"] for gap in changed(database)["gaps_closed"]] == ["interval"]


def test_a_chassis_that_was_not_there_yet_is_all_new(database: Database) -> None:
    store(database, START)
    answer = changed(database, since=0)
    assert {each["change"] for each in answer["changes"]} == {"added"}
    assert "was not in the catalogue" in answer["text"]


def test_a_configuration_that_was_refused_then_is_all_new(database: Database) -> None:
    store(database, START)
    store(database, [START[1].replaced(model_year_to=2025)])
    answer = changed(database, model_year=2025)
    assert {each["change"] for each in answer["changes"]} == {"added"}
    assert "2020–2024" in answer["text"]


def test_a_revision_later_than_the_answer_is_refused(database: Database) -> None:
    store(database, START)
    with pytest.raises(Invalid) as refused:
        changed(database, since=2)
    assert (refused.value.faults[0].parameter, refused.value.faults[0].suggestion) == ("since", "1")
