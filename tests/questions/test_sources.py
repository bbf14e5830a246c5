"""Newer documents: a source that replaces one of another series, newer editions, and the rows of a source by page."""

from typing import Any

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import Chassis, Fastener, Limit, Row, Source, Torque
from app.database.connections import Database
from app.questions.sheet.sheet import SheetAnswer, SheetAsked, sheet
from app.questions.tables.listing import Paged
from app.questions.tables.source_rows import SourceRowsAnswer, page_order, source_rows
from app.web.representation.words import source_words
from tests.questions.storing import store

OLD = Source.checked(id="note-3", title="Note 3", kind="bulletin", published_on="2024-03")
NEW = Source.checked(id="note-7", title="Note 7", kind="bulletin", published_on="2024-07", supersedes=("note-3",))
A, B, UNDATED = (
    Source.checked(id=f"manual-{edition}", series="Manual", title="Manual", edition=edition, kind="manual", **dated)
    for edition, dated in (("a", {"published_on": "2022"}), ("b", {"published_on": "2023-05"}), ("x", {}))
)
FORK: list[Row] = [
    OLD, NEW, A, B, UNDATED,
    Chassis.checked(id="fork", maker="maker", name="Fork", model_year_from=2020, model_year_to=2024),
    *(Fastener.checked(id=id, chassis="fork", position=id, kind="bolt") for id in ("cap", "foot")),
]  # fmt: skip


def torque(id: str, source: str, value: str, page: str | None = None, **more: Any) -> Torque:
    return Torque.checked(
        id=id, chassis="fork", fastener=more.pop("fastener", "cap"), value=value, unit="N·m", source=source, page=page,
        **more,
    )  # fmt: skip


def on_sheet(database: Database, *rows: Row, **given: Any) -> SheetAnswer:
    store(database, [*FORK, *rows])
    return Catalogue(database).answer(lambda snapshot: sheet(snapshot, "fork", SheetAsked(**given)))


def test_a_row_of_a_superseded_source_stays_and_says_so(database: Database) -> None:
    (shown,) = on_sheet(database, torque("old", "note-3", "28"))["torques"]
    assert shown["source"]["superseded_by"] == {"id": "note-7", "title": "Note 7"}
    assert "superseded by Note 7" in source_words(shown["source"])  # type: ignore[arg-type]


def test_only_a_row_of_the_new_source_with_the_same_subject_and_scope_hides_it(database: Database) -> None:
    old = torque("old", "note-3", "28", model_year_to=2022)
    other_scope, other_subject = torque("wide", "note-7", "28"), torque("foot", "note-7", "9", fastener="foot")
    both = on_sheet(database, old, other_scope, other_subject)["torques"]
    assert {each["id"] for each in both} | {also["id"] for each in both for also in each.get("also_in", [])} == {
        "old", "wide", "foot",
    }  # fmt: skip
    new = torque("new", "note-7", "24", model_year_to=2022)
    left = on_sheet(database, new)["torques"]
    assert {each["id"] for each in left} == {"new", "wide", "foot"}


def test_a_row_of_an_older_edition_is_to_be_read_again(database: Database) -> None:
    rows = [torque("cap", "manual-a", "28"), torque("foot", "manual-b", "9", fastener="foot")]
    answer = on_sheet(database, *rows)
    cap, foot = sorted(answer["torques"], key=lambda each: each["id"])
    assert cap["source"]["newer_edition"] == {"id": "manual-b", "title": "Manual", "edition": "b"}
    assert "to be read again: Manual, edition b is newer" in source_words(cap["source"])  # type: ignore[arg-type]
    assert "newer_edition" not in foot["source"]
    assert "sources-disagree" not in {each["code"] for each in answer["cautions"]}, "it is not counted as wrong"


def test_an_edition_without_a_date_is_neither_older_nor_newer(database: Database) -> None:
    (shown,) = on_sheet(database, torque("cap", "manual-x", "28"))["torques"]
    assert "newer_edition" not in shown["source"]


def rows_of(database: Database, source: str, **given: Any) -> SourceRowsAnswer:
    wanted = source_rows(source, Paged(**given))
    return Catalogue(database).answer(wanted.answer)


def test_the_rows_of_a_source_come_in_page_order_and_those_of_older_editions_last(database: Database) -> None:
    limit = Limit.checked(
        id="rotor", chassis="fork", subject="rotor diameter", max="203", unit="mm", source="manual-b", page="9"
    )
    rows = [
        torque("foot", "manual-b", "9", page="14a", fastener="foot"), torque("cap", "manual-b", "28", page="14"),
        torque("second", "manual-b", "12", stage=2), torque("old", "manual-a", "12", page="3", stage=3), limit,
    ]  # fmt: skip
    store(database, [*FORK, *rows])
    found = rows_of(database, "manual-b")
    assert [(each["id"], each["read_again"]) for each in found["rows"]] == [
        ("rotor", False), ("cap", False), ("foot", False), ("second", False), ("old", True),
    ]  # fmt: skip
    assert (found["total"], found["to_read_again"]) == (5, 1)
    assert found["rows"][0]["row"]["max"] == "203"
    first = rows_of(database, "manual-b", limit=2)
    rest = rows_of(database, "manual-b", limit=3, cursor=first["next"])
    assert [each["id"] for each in (*first["rows"], *rest["rows"])] == [each["id"] for each in found["rows"]]
    assert "next" not in rest
    (old,) = rows_of(database, "manual-a")["rows"]
    assert old["read_again"]


@pytest.mark.parametrize(
    "pages", [["9", "14", "14a", "15"], ["A-2", "A-10", "B-1"], ["2.9", "2.10"]], ids=lambda pages: pages[0]
)
def test_pages_are_ordered_by_their_numbers(pages: list[str]) -> None:
    assert sorted([*pages[1:], pages[0]], key=page_order) == pages
