"""Words that are not in their list: refused with the right word, warned of, or accepted as the shop's own."""

from datetime import date

import pytest

from app.catalogue.agreement import subject
from app.catalogue.rows import MemoryRows, Overlay
from app.catalogue.tables import Limit, Part, Row, Use
from app.rules.engine import judge_all, judge_change
from app.rules.finding import Finding
from app.rules.registry import RowEdit, edit
from app.rules.view import Change
from tests.rules.clean import clean_catalogue, clean_rows, edited

TODAY = date(2025, 6, 1)


def changed(change: RowEdit, base: MemoryRows | None = None) -> list[Finding]:
    before = base or clean_catalogue()
    row = edited(change)
    was: Row | None = before.one(row.model, row.id)
    return judge_change(
        Overlay(before, MemoryRows([row]), {}), [Change(row.model, "put", row.id, was, row)], TODAY, before
    )


@pytest.mark.parametrize(
    ("change", "severity", "text"),
    [
        (edit("limits", "limit-rider", subject="Rider weight"), "reject",
         "“Rider weight” means rider mass: write rider mass"),
        (edit("limits", "limit-rider", subject="own: rider weight"), "reject",
         "“own: rider weight” means rider mass: write rider mass"),
        (edit("limits", "limit-rider", subject="Rider  Mass"), "warn", "“Rider  Mass” is read as rider mass"),
        (edit("fasteners", "cap-new", chassis="fork-b", position="cap", kind="cap", side="spring side"), "reject",
         "“cap” is not a position of the list; did you mean top cap, damper cap, spacer cap or adjuster cap?"),
        (edit("fasteners", "cap-new", chassis="fork-b", position="own:", kind="cap", side="spring side"), "reject",
         "“own:” is not a position of the list"),
        (edit("fasteners", "cap-new", chassis="fork-b", position="own: lever cap", kind="cap"), "warn",
         "“lever cap” is the shop's own word"),
        (edit("parts", "wiper-a", kind="wiper seal"), "reject", "“wiper seal” means dust wiper: write dust wiper"),
        (edit("steps", "step-3", place="wiper"), "reject", "“wiper” means dust wiper: write dust wiper"),
        (edit("procedures", "lower-legs", job="lowers service"), "reject",
         "“lowers service” means lower-leg-service: write lower-leg-service"),
        (edit("intervals", "interval-legs", operation="lower leg service"), "warn",
         "“lower leg service” is read as lower-leg-service"),
    ],
)  # fmt: skip
def test_a_word_is_refused_with_the_word_to_use_or_warned_of(change: RowEdit, severity: str, text: str) -> None:
    (found,) = [each for each in changed(change) if each.rule in ("word-unknown", "word-own")]
    assert (found.severity, found.text) == (severity, text)
    assert found.value == next(cell for name, cell in change.cells.items() if cell in text or name == found.column)


def stored(change: RowEdit) -> MemoryRows:
    row = edited(change)
    return MemoryRows({**clean_rows(), (change.table, row.id): row}.values())


def test_correcting_a_synonym_changes_no_subject() -> None:
    base = stored(edit("limits", "limit-rider", subject="Rider weight"))
    assert changed(edit("limits", "limit-rider", subject="rider mass", page="5"), base) == []
    base = stored(edit("greases", "grease-wiper", place="Wiper lip"))
    assert changed(edit("greases", "grease-wiper", page="16"), base) == []
    found = changed(edit("limits", "limit-rider", subject="tyre width", max="65", unit="mm"), base)
    assert "subject-changed" in {each.rule for each in found}


def test_a_stored_synonym_contradicts_what_the_word_says() -> None:
    weight = {"subject": "rider weight", "max": "110", "unit": "kg", "source": "manual-other", "page": "3"}
    base = stored(edit("limits", "limit-weight", chassis="fork-a", **weight))
    found = {each.rule for each in judge_all(base, TODAY)}
    assert {"word-unknown", "disagree-unrelated"} <= found


def test_a_stored_synonym_is_judged_by_the_band_of_its_word() -> None:
    base = stored(edit("limits", "limit-rider", subject="weight of the rider", max="900"))
    assert "limit-implausible" in {each.rule for each in judge_all(base, TODAY)}


def test_the_kind_of_a_part_decides_a_use_by_its_word() -> None:
    use = Use.checked(id="use", chassis="fork", job="lower-leg-service", part="a", position="Bottom bolts")
    other = Use.checked(id="use-2", chassis="fork", job="lowers service", part="b", position="foot bolt")
    parts = {
        "a": Part.checked(id="a", name="Washer", kind="copper washer"),
        "b": Part.checked(id="b", name="Crush washer", kind="crush washer"),
    }
    assert subject(use, parts) == subject(other, parts)
    own = [Limit.checked(id=word, chassis="fork", subject=f"own: {word}") for word in ("a", "b")]
    assert subject(own[0], {}) != subject(own[1], {})
