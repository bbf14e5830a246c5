"""Existing faults do not block other edits: every unrelated edit passes, and every affected row is judged."""

import datetime as dt
from decimal import Decimal
from pathlib import Path

import pytest
from sqlalchemy import select

from app.catalogue.catalogue import Catalogue
from app.catalogue.stored import FINDINGS
from app.catalogue.tables import Fastener, Torque
from app.database.connections import Database
from app.errors import Conflict, Invalid
from app.exchange import judging
from app.exchange.editing import WrittenEdits, check_edits, write_edits
from app.exchange.judging import judge_again
from app.exchange.loading import Entry, load
from app.exchange.read_edits import Edit
from app.exchange.reports import as_text
from app.rules.finding import refuses
from tests.api.asking import asking
from tests.exchange.test_nothing_lost import cells_of, written
from tests.questions.storing import store

TODAY = dt.date(2026, 11, 27)
MANY = 20


def torques_of(database: Database) -> list[Torque]:
    with Catalogue(database).snapshot() as snapshot:
        return list(snapshot.all(Torque))


def with_values(row: Torque, **values: object) -> Torque:
    return row.replaced(**values)


def contradictions(database: Database) -> list[Torque]:
    """Twenty rivals of stored torques, stored as a build without the rules against them would have accepted them."""
    plain = [row for row in torques_of(database) if row.value is not None and row.exception_to is None]
    rivals = [with_values(row, id=f"rival-{row.id}"[:80], value=row.value * 2, min=None, max=None) for row in plain]  # type: ignore[operator]
    chosen = rivals[::2][:MANY]
    assert len(chosen) == MANY
    store(database, chosen)
    return chosen


def edited(database: Database, row: Torque) -> WrittenEdits:
    return write_edits(database, [Edit(Torque, row.id, row)], Entry("a note", "test"), TODAY)


def family_of(database: Database, row: Torque) -> list[Torque]:
    return [each for each in torques_of(database) if each.chassis == row.chassis]


@pytest.mark.anyio
async def test_twenty_contradictions_leave_the_catalogue_readable_and_every_unrelated_edit_passes(
    demo: Database,
) -> None:
    rivals = contradictions(demo)
    counts = judge_again(demo, TODAY)
    assert counts["reject"] >= MANY
    guilty = {row.id for row in rivals} | {row.id.removeprefix("rival-") for row in rivals}
    async with asking(demo) as client:
        found = (await client.get("/v1/findings?severity=reject&limit=1000")).json()["findings"]
        assert {each["id"] for each in found} & guilty
        for chassis in sorted({row.chassis for row in rivals})[:3]:
            assert (await client.get(f"/v1/chassis/{chassis}")).status_code == 200
    edits = 0
    for chassis in sorted({row.chassis for row in rivals}):
        for row in torques_of(demo):
            if row.chassis == chassis and row.id not in guilty and edits < 15:
                done = edited(demo, with_values(row, note=f"read again {edits}"))
                assert done.report["accepted"]
                assert done.report["counts"]["stood_before"] >= 1
                stood = [each for each in done.report["findings"] if each.get("stood_before")]
                assert {each["id"] for each in stood} <= guilty
                edits += 1
    assert edits == 15


def test_every_touched_row_is_judged(demo: Database) -> None:
    rivals = contradictions(demo)
    for row in rivals[:5]:
        with pytest.raises((Conflict, Invalid)):
            edited(demo, with_values(row, note="read again"))
        stored = next(each for each in torques_of(demo) if each.id == row.id.removeprefix("rival-"))
        with pytest.raises((Conflict, Invalid)):
            edited(demo, with_values(stored, note="read again"))


def test_an_old_contradiction_hides_no_new_one(demo: Database) -> None:
    rival = contradictions(demo)[0]
    for id, times in (("a-third", 2), ("zz-third", 2), ("a-third", 1), ("zz-third", 1)):
        third = with_values(rival, id=id, value=(rival.value or Decimal(1)) * times)
        with pytest.raises((Conflict, Invalid)) as refused:
            edited(demo, third)
        report = refused.value.extra["report"]
        assert ("disagree-unrelated", id) in {
            (each["rule"], each["id"]) for each in report["findings"] if refuses(each)
        }


def test_a_fault_that_the_change_makes_is_refused_although_others_stood(demo: Database) -> None:
    rivals = contradictions(demo)
    guilty = {row.id.removeprefix("rival-") for row in rivals} | {row.id for row in rivals}
    innocent = next(row for row in torques_of(demo) if row.id not in guilty and row.fastener)
    with pytest.raises(Invalid, match=innocent.fastener):
        write_edits(demo, [Edit(Fastener, innocent.fastener, None)], Entry("withdrawn", "test"), TODAY)


def test_corrected_contradictions_end(demo: Database) -> None:
    rivals = contradictions(demo)
    judge_again(demo, TODAY)
    rival = rivals[0]
    done = write_edits(demo, [Edit(Torque, rival.id, None)], Entry("withdrawn", "test"), TODAY)
    with demo.read() as connection:
        wanted = select(FINDINGS.c.row_id, FINDINGS.c.collides_id)
        wanted = wanted.where(FINDINGS.c.revision_to > done.head.number, FINDINGS.c.severity == "reject")
        left = {tuple(row) for row in connection.execute(wanted)}
    assert not {pair for pair in left if rival.id in pair}
    assert len(left) >= MANY - 1


@pytest.mark.parametrize("many", [judging.MANY, 0])
def test_a_package_passes_too_by_either_way_of_judging(
    demo: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, many: int
) -> None:
    """With MANY at 0 the whole catalogue is judged instead of the affected part."""
    monkeypatch.setattr(judging, "MANY", many)
    rivals = contradictions(demo)
    guilty = {row.id.removeprefix("rival-") for row in rivals} | {row.id for row in rivals}
    innocent = next(row for row in family_of(demo, rivals[0]) if row.id not in guilty)
    path = written(tmp_path, ("id", "note"), (innocent.id, "read again"), table="torques")
    report = load(demo, path, Entry("a note", "test"))
    assert report["accepted"], as_text(report)
    assert report["counts"]["stood_before"] >= 1
    assert "stood before: " in as_text(report)
    with Catalogue(demo).snapshot() as snapshot:
        checked = check_edits(snapshot, [Edit(Torque, innocent.id, with_values(innocent, note="other"))], TODAY)
    assert checked.report["accepted"]
    names = tuple(rivals[0].cells())
    for id, times in (("a-third", 2), ("zz-third", 2), ("a-third", 1), ("zz-third", 1)):
        cells = cells_of(rivals[0], names, id=id, value=str((rivals[0].value or Decimal(1)) * times))
        refused = load(demo, written(tmp_path, names, cells, table="torques"), Entry("new", "test"))
        assert not refused["accepted"]
        pairs = [
            {each["id"], each.get("collides_with", {}).get("id")}
            for each in refused["findings"]
            if each["rule"] == "disagree-unrelated" and refuses(each)
        ]
        assert any(id in pair for pair in pairs)


def test_judging_again_opens_no_revision_and_touches_no_row(demo: Database) -> None:
    contradictions(demo)
    before = torques_of(demo)
    first = judge_again(demo, TODAY)
    assert judge_again(demo, TODAY) == first
    with Catalogue(demo).snapshot() as snapshot:
        assert snapshot.revision == 2
    assert torques_of(demo) == before
