"""The variety that the demo data must offer to people who try the service, read from the text of its CSV files."""

import csv
from collections import Counter, defaultdict

import pytest

from app.catalogue.tables import STATEMENTS
from tests.conftest import SEED_DATA

Rows = list[dict[str, str]]
ALL: dict[str, Rows] = {
    path.stem: list(csv.DictReader(path.open(encoding="utf-8", newline=""))) for path in SEED_DATA.glob("*.csv")
}
BY = {name: {row["id"]: row for row in rows} for name, rows in ALL.items()}
INCOMPLETE = ("quembry-tureen-35", "tarnoch-treadle-31")


def test_makers_chassis_and_stanchions() -> None:
    chassis = ALL["chassis"]
    assert len({row["maker"] for row in chassis}) >= 4
    assert len(chassis) >= 12
    assert len({row["stanchion_diameter_mm"] for row in chassis}) >= 4
    assert len(ALL["fits"]) >= 80
    assert {size for row in chassis for size in row["wheel_sizes"].split(";")} >= {"584", "622"}
    assert any(row["crowns"] == "dual" for row in chassis)


def test_two_generations_of_one_name_overlap() -> None:
    named: dict[tuple[str, str], Rows] = defaultdict(list)
    for row in ALL["chassis"]:
        named[row["maker"], row["name"]].append(row)
    pairs = [rows for rows in named.values() if len(rows) == 2]
    assert any(
        max(row["model_year_from"] for row in rows) <= min(row["model_year_to"] for row in rows) for rows in pairs
    )


def test_a_change_in_mid_year_is_identified_by_the_serial() -> None:
    by_chassis: dict[str, Rows] = defaultdict(list)
    for row in ALL["variants"]:
        if row["serial_from"]:
            by_chassis[row["chassis"]].append(row)
    before, after = next(sorted(rows, key=lambda row: row["serial_from"]) for rows in by_chassis.values())
    assert before["serial_to"] < after["serial_from"]
    assert before["model_year_to"] == after["model_year_from"], "one model year has both"
    assert before["springs"] != after["springs"]


def test_the_kinds_of_spring_and_damper() -> None:
    springs, dampers = ALL["springs"], ALL["dampers"]
    assert any(row["kind"] == "coil" for row in springs)
    spaced = {row["id"] for row in springs if row["travel_set_by"] == "travel spacer" and row["kind"] == "air"}
    assert any(row["spring"] in spaced and int(row["travel_spacers"] or 0) > 0 for row in ALL["fits"])
    baths = {row["id"] for row in dampers if row["kind"] == "open bath"}
    assert any(row["damper"] in baths and row["level_datum"] and row["level_state"] for row in ALL["fills"])
    assert any(row["kind"] == "nut" and "foot" in row["position"] for row in ALL["fasteners"])
    assert any(row["foot_joint"] == "nut on shaft" for row in dampers)


def test_every_kind_of_statement_and_of_job() -> None:
    for table in STATEMENTS:
        assert ALL[table.table], table.table
    jobs = {"travel-change", "spacer-change", "lower-leg-service", "full-service"}
    assert {row["job"] for row in ALL["procedures"]} == jobs
    stepped = Counter(row["procedure"] for row in ALL["steps"])
    assert all(stepped[row["id"]] >= 10 for row in ALL["procedures"])
    for name in ("parts", "uses", "limits", "frames", "tools", "spacers", "fluids"):
        assert ALL[name], name


def test_sources_have_series_edition_and_page_and_bulletins_do_both_things() -> None:
    assert all(row["series"] and row["edition"] and row["published_on"] for row in ALL["sources"])
    statements = [row for table in STATEMENTS for row in ALL[table.table]]
    paged = [row for row in statements if BY["sources"][row["source"]]["kind"] in ("manual", "bulletin")]
    assert all(row["page"] for row in paged)
    bulletins = {id for id, row in BY["sources"].items() if row["kind"] == "bulletin"}
    from_bulletins = [row for row in statements if row["source"] in bulletins]
    ruled = {row["exception_to"] for row in from_bulletins} - {""}
    manuals = {row["id"] for row in statements if BY["sources"][row["source"]]["kind"] == "manual"}
    assert ruled & manuals, "a bulletin overrules a manual"
    agreeing = [
        (row, other)
        for row in ALL["fills"]
        if row["source"] in bulletins
        for other in ALL["fills"]
        if other["source"] not in bulletins
        and all(row[name] == other[name] for name in ("chassis", "chamber", "fluid", "value", "unit"))
    ]
    assert agreeing, "two sources say the same"


@pytest.mark.parametrize("chassis", INCOMPLETE)
def test_two_chassis_are_incomplete_on_purpose(chassis: str) -> None:
    others = [row["id"] for row in ALL["chassis"] if row["id"] not in INCOMPLETE]

    def said(id: str) -> set[str]:
        own = {table.table for table in STATEMENTS if any(row["chassis"] == id for row in ALL[table.table])}
        return own & {"torques", "fills", "greases", "uses", "limits", "intervals", "guides"}

    assert len(said(chassis)) < 7
    assert all(len(said(id)) == 7 for id in others)
    legs = {row["chamber"] for row in ALL["fills"] if row["chassis"] == chassis}
    assert not {"spring-side lower leg", "damper-side lower leg"} <= legs


def test_figures_vary_by_maker_and_no_single_one_runs_through() -> None:
    maker = {row["id"]: row["maker"] for row in ALL["chassis"]}
    seen: dict[str, dict[str, set[str]]] = {"cap": defaultdict(set), "foot": defaultdict(set), "unit": defaultdict(set)}
    for torque in ALL["torques"]:
        bolt, own = BY["fasteners"][torque["fastener"]], maker[torque["chassis"]]
        seen["unit"][own].add(torque["unit"])
        if bolt["position"] == "top cap":
            seen["cap"][own].add(bolt["drives"])
        if bolt["position"].startswith("foot "):
            seen["foot"][own].add(f"{torque['value'] or torque['min']} {torque['unit']}")
    for kind in ("cap", "foot"):
        shared = Counter(each for values in seen[kind].values() for each in values)
        assert len(shared) >= 4, kind
        assert max(shared.values()) <= 2, (kind, shared)
    assert len({frozenset(units) for units in seen["unit"].values()}) >= 2
    patterns = {row["serial_pattern"] for row in ALL["variants"]} - {""}
    assert len(patterns) >= 4


def test_all_of_it_says_that_it_is_invented() -> None:
    assert all(row["invented"] == "true" for row in ALL["sources"])
    assert "is invented" in (SEED_DATA / "datapackage.json").read_text(encoding="utf-8")
    assert all("invented" in row["title"] for row in ALL["sources"])
