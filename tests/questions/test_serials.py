"""Figures that depend on the serial: a bulletin for a range of serials, and variants that are told by theirs."""

from collections.abc import Iterable, Mapping
from typing import Any

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import Chassis, Fastener, Fit, Row, Source, Spring, Torque, Variant
from app.database.connections import Database
from app.errors import Invalid
from app.questions.setup.parameters import SetupAsked
from app.questions.setup.setup import setup
from app.questions.sheet.changes import SheetChangesAsked, sheet_changes
from app.questions.sheet.fits import FitsAnswer, FitsAsked, fits
from app.questions.sheet.sheet import SheetAnswer, SheetAsked, sheet
from tests.questions.storing import store

FORK: list[Row] = [
    Source.checked(id="doc", title="Manual", kind="manual", published_on="2022"),
    Source.checked(id="note", title="Note", kind="bulletin", published_on="2024"),
    Chassis.checked(id="fork", maker="maker", name="Fork", model_year_from=2021, model_year_to=2024),
    Fastener.checked(id="cap", chassis="fork", position="top cap", kind="cap"),
    Variant.checked(id="trim", chassis="fork", name="Trim"),
]
GENERAL = Torque.checked(id="general", chassis="fork", fastener="cap", value="26", unit="N·m", source="doc", page="3")
BULLETIN = Torque.checked(
    id="bulletin", chassis="fork", fastener="cap", value="22", unit="N·m", source="note", page="1",
    serial_from="A22-0500", serial_to="A22-0999", exception_to="general",
)  # fmt: skip
RUNS: list[Row] = [
    Variant.checked(id="first", chassis="fork", name="First run", serial_from="A21-0001", serial_to="A21-9999",
                    model_year_to=2022),
    Variant.checked(id="second", chassis="fork", name="Second run", serial_from="A22-0001", serial_to="A22-9999"),
]  # fmt: skip


def asked(database: Database, rows: Iterable[Row] = (GENERAL, BULLETIN), **given: Any) -> SheetAnswer:
    store(database, [*FORK, *rows])
    return Catalogue(database).answer(lambda snapshot: sheet(snapshot, "fork", SheetAsked(**given)))


def shown(answer: SheetAnswer) -> set[str]:
    return {each["id"] for each in answer["torques"]}


def left_open(answer: SheetAnswer | FitsAnswer) -> Mapping[str, list[Any]]:
    return {each["parameter"]: each["values"] for each in answer["undecided"]}


def test_without_a_serial_both_figures_are_shown_even_if_the_trim_is_named(database: Database) -> None:
    answer = asked(database, variant="trim")
    assert shown(answer) == {"general", "bulletin"}
    assert left_open(answer) == {"serial": ["A22-0500 to A22-0999"]}
    (bulletin,) = (each for each in answer["torques"] if each["id"] == "bulletin")
    assert bulletin["scope"] == {"serial_from": "A22-0500", "serial_to": "A22-0999"}


@pytest.mark.parametrize(
    ("serial", "figure"),
    [
        ("A22-0500", "bulletin"), ("A22-0999", "bulletin"), ("a22-0700 ", "bulletin"),
        ("A22-0499", "general"), ("A22-1000", "general"), ("A23-0700", "general"), ("B22-0700", "general"),
    ],
)  # fmt: skip
def test_a_serial_decides_by_its_bytes_in_capitals(database: Database, serial: str, figure: str) -> None:
    answer = asked(database, serial=serial)
    assert shown(answer) == {figure}
    assert answer["undecided"] == []
    assert answer["configuration"]["serial"] == serial.strip().upper()
    assert "serial-unread" not in {each["code"] for each in answer["cautions"]}


@pytest.mark.parametrize("serial", ["A22 0700", "A220700", "A22-07000", "illegible", "22A-0700"])
def test_a_serial_of_no_known_shape_decides_nothing_and_says_so(database: Database, serial: str) -> None:
    answer = asked(database, serial=serial)
    assert shown(answer) == {"general", "bulletin"}
    assert list(left_open(answer)) == ["serial"]
    assert "serial-unread" in {each["code"] for each in answer["cautions"]}


def test_a_known_shape_of_another_length_is_outside_every_range(database: Database) -> None:
    later = Variant.checked(id="later", chassis="fork", name="Later", serial_pattern="######")
    answer = asked(database, [GENERAL, BULLETIN, later], serial="220700")
    assert shown(answer) == {"general"}
    assert "serial" not in left_open(answer)


def test_a_serial_says_nothing_where_nothing_depends_on_serials(database: Database) -> None:
    answer = asked(database, [GENERAL], serial="illegible")
    assert shown(answer) == {"general"}
    assert "serial-unread" not in {each["code"] for each in answer["cautions"]}


def test_a_range_may_be_open_at_one_end(database: Database) -> None:
    onwards = BULLETIN.replaced(serial_to=None)
    assert shown(asked(database, [GENERAL, onwards], serial="Z99-9999")) == {"bulletin"}
    assert left_open(asked(database))["serial"] == ["A22-0500 to A22-0999"]


def test_a_serial_in_the_range_of_one_variant_decides_the_variant(database: Database) -> None:
    of_run = BULLETIN.replaced(variant=("second",), serial_from=None, serial_to=None)
    rows = [GENERAL, of_run, *RUNS]
    assert shown(asked(database, rows, serial="A22-0001")) == {"bulletin"}
    assert shown(asked(database, rows, serial="A21-0001")) == {"general"}
    neither = asked(database, rows, serial="A23-0001")
    assert shown(neither) == {"general", "bulletin"}
    assert "variant" in left_open(neither)
    with pytest.raises(Invalid, match=r"First run.*A21-0001") as refusal:
        asked(database, rows, serial="A21-0001", model_year=2023)
    assert refusal.value.faults[0].parameter == "model_year"


def test_a_serial_in_the_ranges_of_two_variants_leaves_the_variant_open(database: Database) -> None:
    twice = Variant.checked(id="twice", chassis="fork", name="Twice", serial_from="A22-5000", serial_to="A22-9999")
    of_run = BULLETIN.replaced(variant=("second",), serial_from=None, serial_to=None)
    answer = asked(database, [GENERAL, of_run, *RUNS, twice], serial="A22-6000")
    assert left_open(answer) == {"variant": ["second", "trim", "twice"]}  # not the first run: its serials are others


def test_a_serial_and_a_variant_that_exclude_each_other_are_refused_naming_both(database: Database) -> None:
    with pytest.raises(Invalid) as refusal:
        asked(database, [GENERAL, *RUNS], serial="A22-0001", variant="first")
    (fault,) = refusal.value.faults
    assert (fault.code, fault.parameter, fault.suggestion) == ("serial-of-another-variant", "variant", "second")
    assert "A22-0001" in fault.text
    assert "First run" in fault.text


def test_a_variant_with_serials_rules_out_ranges_beyond_them(database: Database) -> None:
    rows = [GENERAL, BULLETIN, *RUNS]
    assert shown(asked(database, rows, variant="first")) == {"general"}
    whole = BULLETIN.replaced(serial_from="A22-0000", serial_to="A22-9999")
    second = asked(database, [GENERAL, whole, *RUNS], variant="second")
    assert shown(second) == {"bulletin"}
    assert second["undecided"] == []


def of_fits(database: Database, **given: Any) -> FitsAnswer:
    spring = Spring.checked(id="spring", maker="maker", name="Spring", kind="air")
    wide = Fit.checked(id="wide", chassis="fork", spring="spring", travel_mm=150, spacer_limit=4)
    early = Fit.checked(
        id="early", chassis="fork", spring="spring", travel_mm=150, spacer_limit=3, exception_to="wide",
        serial_to="A22-0999",
    )  # fmt: skip
    only = Fit.checked(id="only", chassis="fork", spring="spring", travel_mm=160, serial_from="A22-5000")
    store(database, [*FORK, spring, wide, early, only])
    return Catalogue(database).answer(lambda snapshot: fits(snapshot, "fork", FitsAsked(**given)))


def test_fits_depend_on_the_serial_and_a_near_miss_names_it(database: Database) -> None:
    answer = of_fits(database, serial="A22-0100")
    assert [each["id"] for each in answer["fits"]] == ["early"]
    (miss,) = (each for each in answer["near_misses"] if each["id"] == "only")
    assert miss["reasons"] == [{"code": "serial-differs", "text": "listed for serials from A22-5000, not A22-0100"}]
    assert answer["asked"]["serial"] == "A22-0100"
    assert left_open(of_fits(database, travel="150")) == {"serial": ["up to A22-0999"]}


def test_set_up_and_changes_of_a_sheet_take_the_serial(database: Database) -> None:
    of_fits(database)
    catalogue = Catalogue(database)
    early = catalogue.answer(lambda snapshot: setup(snapshot, "fork", SetupAsked(travel="150", serial="A22-0100")))
    assert early["fit"]["id"] == "early"
    unread = catalogue.answer(lambda snapshot: setup(snapshot, "fork", SetupAsked(travel="150", serial="?")))
    assert [each["parameter"] for each in unread["undecided"]] == ["serial"]
    assert "serial-unread" in {each["code"] for each in unread["cautions"]}
    store(database, [GENERAL, BULLETIN])
    wanted = SheetChangesAsked(since=1, travel="150", serial="A22-0700")
    changes = catalogue.answer(lambda snapshot: sheet_changes(snapshot, "fork", wanted))["changes"]
    assert [each["id"] for each in changes] == ["bulletin"]
