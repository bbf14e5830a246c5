"""Scopes that list variants, dampers or wheels, and figures that depend on a fitted part: asked for and shown."""

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import Chassis, Damper, Fastener, Fit, Part, Row, Spring, Torque, Variant
from app.database.connections import Database
from app.errors import Invalid
from app.questions.job.job_card import JobCardAsked, job_card
from app.questions.setup.parameters import SetupAsked
from app.questions.setup.setup import setup
from app.questions.sheet.fits import FitsAsked, fits
from app.questions.sheet.sheet import SheetAnswer, SheetAsked, sheet
from app.web.representation.words import scope_words
from tests.questions.storing import store

FORK: list[Row] = [
    Chassis.checked(id="fork", maker="maker", name="Fork", model_year_from=2018, model_year_to=2024,
                    dampers=("bath", "cartridge", "sealed"), wheel_sizes=(559, 584, 622)),
    *(Damper.checked(id=id, maker="maker", name=id.title()) for id in ("bath", "cartridge", "sealed")),
    *(Variant.checked(id=id, chassis="fork", name=id.title(), **years) for id, years in {
        "early": {"model_year_to": 2019}, "late": {"model_year_from": 2022}, "any": {},
    }.items()),
    *(Part.checked(id=id, name=id.title(), kind="crown") for id in ("alloy", "carbon", "steel")),
    *(Part.checked(id=id, name=id.title(), kind="guard") for id in ("short", "long")),
    Part.checked(id="peg", name="Peg", kind="valve peg"),
    Fastener.checked(id="cap", chassis="fork", position="top cap", kind="cap"),
    Spring.checked(id="spring", maker="maker", name="Spring", kind="air"),
]  # fmt: skip
WIDE = Torque.checked(id="wide", chassis="fork", fastener="cap", value="26", unit="N·m")


def narrow(id: str = "narrow", **scope: Any) -> Torque:
    row: Torque = WIDE.replaced(id=id, value=WIDE.value and WIDE.value - 4, exception_to="wide", **scope)
    return row


def asked(database: Database, *rows: Row, **given: Any) -> SheetAnswer:
    store(database, [*FORK, WIDE, *rows])
    return Catalogue(database).answer(lambda snapshot: sheet(snapshot, "fork", SheetAsked(**given)))


def shown(answer: SheetAnswer) -> set[str]:
    return {each["id"] for each in answer["torques"]}


def left_open(undecided: Iterable[Any]) -> Mapping[str, list[str]]:
    return {each["parameter"]: each["values"] for each in undecided}


@pytest.mark.parametrize(
    ("scope", "inside", "outside"),
    [
        ({"damper": ("bath", "cartridge")}, {"damper": "cartridge"}, {"damper": "sealed"}),
        ({"wheel_size": (584, 622)}, {"wheel_size": "27.5"}, {"wheel_size": "26"}),
        ({"variant": ("early", "late")}, {"variant": "late"}, {"variant": "any"}),
    ],
    ids=["damper", "wheel", "variant"],
)
def test_a_list_holds_each_of_its_ids_and_is_a_list_in_the_answer(
    database: Database, scope: dict[str, Any], inside: dict[str, Any], outside: dict[str, Any]
) -> None:
    row = narrow(**scope)
    within = asked(database, row, **inside)
    assert shown(within) == {"narrow"}
    ((name, listed),) = scope.items()
    assert within["torques"][0]["scope"] == {name: list(listed)}
    assert " or ".join(map(str, listed)) in scope_words(within["torques"][0]["scope"])  # type: ignore[arg-type]
    assert shown(asked(database, row, **outside)) == {"wide"}
    either = asked(database, row)
    assert shown(either) == {"wide", "narrow"}
    assert list(left_open(either["undecided"])) == [name]


def test_a_list_of_every_damper_decides_whatever_the_damper_is(database: Database) -> None:
    answer = asked(database, narrow(damper=("sealed", "bath", "cartridge")))
    assert shown(answer) == {"narrow"}
    assert answer["undecided"] == []


def test_variants_of_other_years_hold_nothing_between_them(database: Database) -> None:
    row = narrow(variant=("early", "late"))
    assert shown(asked(database, row, model_year=2020)) == {"wide"}
    assert shown(asked(database, row, model_year=2022)) == {"wide", "narrow"}


def test_without_a_part_both_figures_are_shown_and_undecided_names_the_parts(database: Database) -> None:
    answer = asked(database, narrow(fitted_part="alloy"))
    assert shown(answer) == {"wide", "narrow"}
    (undecided,) = answer["undecided"]
    assert (undecided["parameter"], undecided["values"], undecided["names"]) == ("fitted_part", ["alloy"], ["Alloy"])
    assert scope_words({"fitted_part": "alloy"}) == "fitted part alloy"


@pytest.mark.parametrize(("part", "figure"), [("alloy", "narrow"), ("carbon", "other"), ("steel", "wide")])
def test_parts_of_one_kind_exclude_each_other(database: Database, part: str, figure: str) -> None:
    rows = narrow(fitted_part="alloy"), narrow("other", fitted_part="carbon")
    answer = asked(database, *rows, fitted_part=part)
    assert shown(answer) == {figure}
    assert answer["undecided"] == []
    assert answer["configuration"]["fitted_part"] == [part]


def test_a_kind_that_no_scope_names_decides_nothing(database: Database) -> None:
    assert shown(asked(database, narrow(fitted_part="alloy"), fitted_part="peg")) == {"wide", "narrow"}
    assert shown(asked(database, narrow(fitted_part="alloy"), fitted_part="peg;alloy")) == {"narrow"}


def test_two_kinds_are_asked_for_one_after_the_other(database: Database) -> None:
    row = narrow(fitted_part="alloy")
    guarded = narrow("guarded", fitted_part="long").replaced(value=Decimal(20))
    answer = asked(database, row, guarded, fitted_part="alloy")
    assert left_open(answer["undecided"])["fitted_part"] == ["alloy;long"]
    assert shown(asked(database, row, guarded, fitted_part="alloy;short")) == {"narrow"}


@pytest.mark.parametrize(
    ("given", "code", "suggestion"),
    [("aloy", "fitted-part-outside", "alloy"), ("alloy;carbon", "fitted-parts-exclude", "alloy")],
)
def test_a_part_that_is_not_there_and_two_of_one_kind_are_refused(
    database: Database, given: str, code: str, suggestion: str
) -> None:
    with pytest.raises(Invalid) as refusal:
        asked(database, narrow(fitted_part="alloy"), fitted_part=given)
    (fault,) = refusal.value.faults
    assert (fault.code, fault.parameter, fault.suggestion) == (code, "fitted_part", suggestion)


def test_fits_and_set_up_take_the_part_and_a_near_miss_names_it(database: Database) -> None:
    fit = Fit.checked(id="fit", chassis="fork", spring="spring", travel_mm=150, spacer_limit=4)
    of_crown = fit.replaced(id="of-crown", spacer_limit=3, exception_to="fit", fitted_part="alloy")
    only = fit.replaced(id="only", travel_mm=160.0, fitted_part="carbon")
    store(database, [*FORK, fit, of_crown, only])
    catalogue = Catalogue(database)
    answer = catalogue.answer(lambda snapshot: fits(snapshot, "fork", FitsAsked(fitted_part="alloy")))
    assert [each["id"] for each in answer["fits"]] == ["of-crown"]
    (miss,) = answer["near_misses"]
    assert (miss["id"], miss["reasons"][0]["code"]) == ("only", "fitted-part-differs")
    set_up = catalogue.answer(lambda snapshot: setup(snapshot, "fork", SetupAsked(travel="150", fitted_part="alloy")))
    assert set_up["fit"]["id"] == "of-crown"
    with pytest.raises(Invalid) as refusal:
        catalogue.answer(
            lambda snapshot: job_card(snapshot, "fork", JobCardAsked(job="full-service", travel="150", fitted_part="x"))
        )
    assert refusal.value.faults[0].code == "fitted-part-outside"
