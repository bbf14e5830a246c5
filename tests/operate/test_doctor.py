"""The findings of doctor: each fault by its name and level, and the exit code."""

import json
import os
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from app.database.connections import Database
from app.operating.backup import take
from app.operating.doctor_settings import risks, what_is_open
from app.operating.doctor_stores import sqlite_version
from app.settings import Settings
from tests.operate.conftest import Called


@pytest.fixture
def here(fresh: tuple[Database, Database], tmp_path: Path) -> dict[str, str]:
    catalogue, shop = fresh
    take(catalogue, shop, tmp_path / "backups" / "one.zip")
    return {
        "database_url": catalogue.url.render_as_string(), "shop_database_url": shop.url.render_as_string(),
        "backup_folder": str(tmp_path / "backups"),
    }  # fmt: skip


def looked(legwork: Called, settings: dict[str, str]) -> tuple[int, dict[str, Any]]:
    code, out, err = legwork("doctor", "--json", **settings)
    assert err == ""
    return code, {finding["name"]: finding for finding in json.loads(out)["findings"]}


def test_a_healthy_installation_is_said_to_be(legwork: Called, here: dict[str, str]) -> None:
    code, found = looked(legwork, here)
    assert code == 0
    good = {"python", "catalogue integrity", "catalogue schema", "shop integrity", "shop schema", "backup", "settings"}
    assert {name for name, finding in found.items() if finding["level"] == "good"} >= good
    code, out, _ = legwork("doctor", **here)
    assert (code, out.count("\n")) == (0, len(found))


def test_what_is_wrong_is_bad_and_the_exit_code_says_so(legwork: Called, here: dict[str, str], tmp_path: Path) -> None:
    catalogue = Path(here["database_url"].removeprefix("sqlite:///"))
    with closing(sqlite3.connect(here["shop_database_url"].removeprefix("sqlite:///"))) as connection, connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
    os.truncate(catalogue, catalogue.stat().st_size // 2)
    os.truncate(tmp_path / "backups" / "one.zip", 1000)
    code, found = looked(legwork, here)
    bad = {name for name, finding in found.items() if finding["level"] == "bad"}
    assert (code, bad) == (1, {"catalogue integrity", "shop schema", "backup"})


def test_it_looks_where_there_is_nothing_yet_and_makes_nothing(legwork: Called, tmp_path: Path) -> None:
    settings = {
        "database_url": f"sqlite:///{tmp_path}/a/c.db", "shop_database_url": f"sqlite:///{tmp_path}/a/s.db",
        "backup_folder": f"{tmp_path}/a/b",
    }  # fmt: skip
    code, found = looked(legwork, settings)
    assert code == 0
    assert {found[name]["level"] for name in ("catalogue", "shop", "backup")} == {"notice"}
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("version", "level"), [((3, 40, 1), "notice"), ((3, 51, 2), "notice"), ((3, 51, 3), "good"), ((3, 53, 0), "good")]
)
def test_the_floor_of_sqlite_is_where_its_race_was_fixed(version: tuple[int, int, int], level: str) -> None:
    """Release notes of SQLite 3.51.3 (March 2026): "the WAL-reset bug"."""
    assert sqlite_version(version).level == level


@pytest.mark.parametrize(
    ("given", "name"),
    [
        ({"allowed_hosts": ["*"]}, "LEGWORK_ALLOWED_HOSTS"),
        ({"trusted_proxies": ["0.0.0.0/0"]}, "LEGWORK_TRUSTED_PROXIES"),
        ({"trusted_proxies": ["*"]}, "LEGWORK_TRUSTED_PROXIES"),
        ({"host": "0.0.0.0"}, "LEGWORK_READ_RATE"),
        ({"host": "0.0.0.0", "read_rate": "9/second", "metrics": "open"}, "LEGWORK_METRICS"),
        ({"log_level": "error"}, "LEGWORK_LOG_LEVEL"),
        ({"shop_database_url": Settings().database_url}, "LEGWORK_SHOP_DATABASE_URL"),
        ({}, "settings"),
        ({"host": "::1", "metrics": "open", "trusted_proxies": ["10.0.0.0/8"]}, "settings"),
    ],
)
def test_each_risky_setting_is_named(given: dict[str, Any], name: str) -> None:
    assert [finding.name for finding in risks(Settings(**given))] == [name]


@pytest.mark.parametrize(
    ("given", "name", "level", "word"),
    [
        ({}, "lookups", "good", "open: anyone on this machine"),
        ({"host": "0.0.0.0"}, "lookups", "notice", "open: anyone who can reach 0.0.0.0 port 8000"),
        ({"host": "0.0.0.0", "open_reads": False}, "lookups", "good", "closed"),
        ({}, "other web pages", "good", "closed"),
        ({"cors_origins": ["https://a.test"]}, "other web pages", "good", "https://a.test"),
        ({"cors_origins": ["*"]}, "other web pages", "notice", "any web page"),
        ({}, "hosts", "good", "answers for localhost, 127.0.0.1, [::1]"),
        ({"host": "0.0.0.0"}, "hosts", "good", "[::1] and the addresses and names of this machine"),
        ({"host": "0.0.0.0", "allowed_hosts": ["bench.test"]}, "hosts", "good", "answers for bench.test"),
    ],
)
def test_it_says_what_is_open(given: dict[str, Any], name: str, level: str, word: str) -> None:
    found = {finding.name: finding for finding in what_is_open(Settings(**given))}
    assert found[name].level == level
    assert word in found[name].text
