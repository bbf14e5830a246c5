"""A table is one SQLModel class; rows read in bulk are derived from it; both hold equal values."""

import gc
from decimal import Decimal
from typing import Any

import pytest
from pydantic import ValidationError
from sqlalchemy import inspect
from sqlmodel import Session, SQLModel, select

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import TABLES, Fit, Fluid, Maker, Row, Spring, is_row_of
from app.catalogue.tables.row import light_row
from app.database.connections import Database
from tests.questions.storing import store

FIT = {
    "id": "fit", "chassis": "fork", "spring": "air", "travel_mm": 150, "axle_to_crown_mm": "546.10", "confirmed": True,
    "pressure_limit": "160", "pressure_unit": "psi",
}  # fmt: skip
FLUID = {"id": "oil", "name": "Oil", "kind": "bath oil", "packs_ml": ("7.50", "120"), "seal_safe": False}


@pytest.mark.parametrize("table", TABLES.values(), ids=TABLES)
def test_each_table_is_one_sqlmodel_class_that_stays_alive(table: type[Row]) -> None:
    gc.collect()
    assert issubclass(table, SQLModel)
    assert [each for each in _leaves(Row) if getattr(each, "table", None) == table.table] == [table]
    assert _sql(table).name == table.table
    keys = [column.name for column in _sql(table).primary_key.columns]
    assert keys == ["id", "revision_from"]
    assert set(_sql(table).c.keys()) == {*table.columns(), "revision_from", "revision_to"}


@pytest.mark.parametrize(
    ("table", "values", "wrong"),
    [
        (Maker, {"id": "Not An Id", "name": "M"}, "id"),
        (Maker, {"id": "m"}, "name"),
        (Maker, {"id": "m", "name": "M", "colour": "red"}, "colour"),
        (Fit, {**FIT, "travel_mm": "far"}, "travel_mm"),
        (Fit, {**FIT, "pressure_limit": "1e3"}, "pressure_limit"),
        (Spring, {"id": "s", "maker": "m", "name": "S", "kind": "elastomer"}, "kind"),
        (Fluid, {**FLUID, "packs_ml": ()}, "packs_ml"),
    ],
)
def test_model_validate_of_a_table_refuses_what_is_no_row(table: type[Row], values: Any, wrong: str) -> None:
    for check in (table.model_validate, table.checked):
        with pytest.raises(ValidationError) as refused:
            check(values)
        assert {fault["loc"][0] for fault in refused.value.errors()} == {wrong}


def test_a_light_row_has_the_columns_of_its_table_and_nothing_else() -> None:
    row = Fit.checked(FIT)
    assert (row.model, is_row_of(row, Fit), is_row_of(row, Maker)) == (Fit, True, False)
    assert (row.travel_mm, row.axle_to_crown_mm) == (150.0, Decimal("546.10"))
    assert type(row) is light_row(Fit)
    assert type(row).__slots__ == tuple(Fit.columns())
    assert not hasattr(row, "__dict__")
    with pytest.raises(AttributeError):
        row.colour = "red"  # type: ignore[attr-defined]
    assert row == Fit.from_database(tuple(row.stored().values()))
    assert row != row.replaced(travel_mm=160.0)


def test_a_session_reads_the_values_that_bulk_reading_reads(database: Database) -> None:
    store(database, [Fit.checked(FIT), Fluid.checked(FLUID)])
    with database.read() as connection, Session(connection) as session:
        fit, fluid = session.get(Fit, ("fit", 1)), session.exec(select(Fluid)).one()
        assert fit is not None
        assert (fit.axle_to_crown_mm, fit.confirmed, fit.revision_from) == (Decimal("546.10"), True, 1)
        assert str(fit.axle_to_crown_mm) == "546.10"
        assert (fluid.packs_ml, fluid.seal_safe) == ((Decimal("7.50"), Decimal("120")), False)
        read = fit.cells(), fluid.cells()
    with Catalogue(database).snapshot() as snapshot:
        light = snapshot.one(Fit, "fit"), snapshot.one(Fluid, "oil")
    assert tuple(each.cells() for each in light if each is not None) == read


def _leaves(base: type[Row]) -> list[type[Row]]:
    below = [leaf for each in base.__subclasses__() for leaf in (_leaves(each) or [each])]
    return list(dict.fromkeys(below))


def _sql(table: type[Row]) -> Any:
    return inspect(table).local_table
