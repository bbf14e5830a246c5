"""Ids of new rows: from what the row is, the same for everybody, and never one that was used."""

from decimal import Decimal

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.columns import SLUG
from app.catalogue.ids import LONGEST, free_id, id_for
from app.catalogue.tables import TABLES, Chassis, Fastener, Fill, Fit, Fluid, Guide, Maker, Source, Torque

FORK = "our-maker-our-fork-2023"


@pytest.mark.parametrize(
    ("table", "values", "id"),
    [
        (Maker, {"name": "Ölgötz & Söhne"}, "olgotz-sohne"),
        (Source, {"title": "Fork manual", "edition": "C"}, "fork-manual-c"),
        (Chassis, {"maker": "our-maker", "name": "Our Fork", "model_year_from": 2023}, FORK),
        (Fluid, {"maker": "our-maker", "name": "Our Maker Bath 15"}, "our-maker-bath-15"),
        (Fastener, {"chassis": FORK, "position": "foot bolt", "side": "spring side"}, f"{FORK}-foot-bolt-spring-side"),
        (Torque, {"chassis": FORK, "fastener": f"{FORK}-foot-bolt"}, f"torque-{FORK}-foot-bolt"),
        (Torque, {"chassis": FORK, "fastener": f"{FORK}-cap", "travel_from_mm": 150.0, "travel_to_mm": 160.0},
         f"torque-{FORK}-cap-150-160"),
        (Fill, {"chassis": FORK, "chamber": "damper", "variant": f"{FORK}-late"}, f"fill-{FORK}-damper-late"),
        (Fit, {"chassis": FORK, "spring": "our-spring", "travel_mm": 147.5}, f"fit-{FORK}-our-spring-147-5"),
        (Guide, {"chassis": FORK, "rider_mass_from": "70", "mass_unit": "kg"}, f"guide-{FORK}-70-kg"),
        (Guide, {"chassis": FORK, "rider_mass_to": "70", "mass_unit": "kg"}, f"guide-{FORK}-to-70-kg"),
        (Guide, {"chassis": FORK, "rider_mass_from": Decimal(140), "rider_mass_to": Decimal(160), "mass_unit": "lb",
                 "travel_from_mm": 140.0, "travel_to_mm": 140.0}, f"guide-{FORK}-140-160-lb-140"),
        (Torque, {"chassis": FORK, "fastener": f"{FORK}-cap", "stage": 1}, f"torque-{FORK}-cap"),
        (Torque, {"chassis": FORK, "fastener": f"{FORK}-cap", "stage": 2}, f"torque-{FORK}-cap-2"),
        (Maker, {"name": "Straße Œuvre, Łódź Søæđ"}, "strasse-oeuvre-lodz-soaed"),
        (Maker, {"name": "弾性"}, "maker"),
    ],
)  # fmt: skip
def test_an_id_says_what_the_row_is(table: type, values: dict[str, object], id: str) -> None:
    assert id_for(table, values) == id
    assert SLUG.fullmatch(id)


def test_an_id_is_never_too_long() -> None:
    for table in TABLES.values():
        values = dict.fromkeys(table.columns(), "a long word " * 20)
        assert len(id_for(table, values)) <= LONGEST
        assert SLUG.fullmatch(id_for(table, values))


def test_a_used_id_gets_a_number(loaded: Catalogue) -> None:
    maker = {"name": "Quembry"}
    statement = {"chassis": "quembry-trivet-35", "fastener": "quembry-trivet-35-axle"}
    assert loaded.answer(lambda snapshot: free_id(snapshot, Maker, maker)) == "quembry-2"
    assert loaded.answer(lambda snapshot: free_id(snapshot, Torque, statement)) == "torque-quembry-trivet-35-axle"
