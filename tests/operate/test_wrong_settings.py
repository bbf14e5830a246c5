"""Settings that an operator gets wrong: one line that names each, and no start (wire case 61)."""

import os
import subprocess
import sys
from pathlib import Path
from typing import Any, get_args

import pytest

from app.environment import misnamed
from app.settings import Settings

NAMES = {name: f"LEGWORK_{name.upper()}" for name in Settings.model_fields}
WRONG: dict[str, list[str]] = {
    "database_url": [
        "legwork.db",
        "",
        "mysql://a/b",
        "sqlite://",
        "sqlite:///",
        "postgresql:/x",
        "a b",
    ],
    "shop_database_url": ["shop", "sqlite:", "postgres://a/b"],
    "read_url": ["", "http://a/b"],
    "host": [""],
    "port": ["", "many", "-1", "65536", "8000.5", "http://a", "8000/tcp"],
    "allowed_hosts": ["", "http://a", "a:8000", "a/b", "*.", "a b", '["a"', "[1]", '{"a": 1}', "a*b", "[::1", "<b>"],
    "trusted_proxies": ["proxy", "10.0.0.0/33", "10.0.0.1:80", '["x"]'],
    "cors_origins": ["example.org", "https://a/", "null", "*.example.org"],
    "open_reads": ["", "maybe", "2"],
    "mirror_key": ["", "a b", "ü", "a\tb"],
    "read_rate": ["", "9", "fast", "9/fortnight", "0/second", "-1/second", "9/second;9/minute"],
    "write_rate": ["", "60 minute", "0/minute"],
    "batch_rate": ["", "60 minute", "0/minute"],
    "draft_rate": ["", "60 minute", "0/minute"],
    "second_reader": ["", "maybe", "2"],
    "rate_store": ["", "memory", "nothing://a", "redis://a:b:c"],
    "log_level": ["", "loud", "INFO2"],
    "log_format": ["", "xml"],
    "metrics": ["", "on", "true"],
    "worker_folder": ["/nowhere/at/all", "/dev/null"],
}
NUMBERS = ["", "many", "-1", "nan", "inf", "1e999"]
ANY = {"backup_folder"}
"""Any text is a path; `backup` and `doctor` report what is wrong with it."""


def start(*arguments: str, **variables: str) -> subprocess.CompletedProcess[str]:
    """A command in a separate process with these variables and no other settings."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("LEGWORK_")}
    return subprocess.run(
        [sys.executable, "-m", "app", *(arguments or ("serve",))],
        env={**environment, **variables}, capture_output=True, text=True, timeout=60, cwd="/",
    )  # fmt: skip


def cases() -> list[tuple[str, str]]:
    found = []
    for name, field in Settings.model_fields.items():
        number = {int, float} & {field.annotation, *get_args(field.annotation)}
        found += [(name, value) for value in WRONG.get(name, NUMBERS if number else [])]
    return found


def test_every_setting_has_a_wrong_value_here() -> None:
    assert {name for name, _ in cases()} | ANY == Settings.model_fields.keys()


@pytest.mark.parametrize("name", [name for name in Settings.model_fields if name not in ANY])
def test_a_value_that_cannot_be_used_is_refused_by_name(
    name: str, legwork: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    for value in (value for each, value in cases() if each == name):
        code, out, err = legwork("settings", **{name: value})
        assert code == 1, (name, value)
        assert out == ""
        assert NAMES[name] in err, (name, value)
        assert err.count("\n") == 1, err


def test_the_start_ends_with_one_line() -> None:
    """As a process, as an operator sees it; the value tests above go through the same function."""
    for name, value in (("port", "many"), ("allowed_hosts", '["a"'), ("read_rate", "fast"), ("database_url", "x")):
        done = start(**{NAMES[name]: value})
        assert done.returncode == 1
        assert done.stdout == ""
        assert NAMES[name] in done.stderr
        assert done.stderr.count("\n") == 1, done.stderr


def test_a_value_that_is_no_text_is_refused_by_name() -> None:
    environment = {os.fsencode(name): os.fsencode(value) for name, value in os.environ.items()}
    environment[b"LEGWORK_PORT"] = b"\xff\xfe"
    done = subprocess.run([sys.executable, "-m", "app", "serve"], env=environment, capture_output=True, timeout=60)
    assert (done.returncode, done.stderr.count(b"\n")) == (1, 1)
    assert b"LEGWORK_PORT" in done.stderr


def slips(name: str) -> set[str]:
    """Typical mistyped names: a letter left out, doubled or swapped with the next; two letters left out."""
    found = {name[:at] + name[at + 1 :] for at in range(len(name))}
    found |= {name[:at] + name[at] + name[at:] for at in range(len(name))}
    found |= {name[:at] + name[at + 1] + name[at] + name[at + 2 :] for at in range(len(name) - 1)}
    found |= {name[:-2], name[:8] + name[10:], name + "ES", name + "_1"}
    return found - {name}


@pytest.mark.parametrize("name", NAMES.values())
def test_a_name_that_is_nearly_a_setting_is_found_out(name: str) -> None:
    for slip in slips(name) - set(NAMES.values()):
        found, unknown = misnamed({slip: "1"}, NAMES.values())
        assert found.keys() == {slip}, slip
        assert unknown == []
    assert misnamed({name: "1", name.lower(): "1"}, NAMES.values()) == ({}, [])


def test_a_slip_stops_the_start_and_names_what_was_meant() -> None:
    for command in ("serve", "doctor", "settings"):
        done = start(command, LEGWORK_OPEN_READ="false")
        assert done.returncode == 1
        assert done.stderr.count("\n") == 1, done.stderr
        assert "LEGWORK_OPEN_READ " in done.stderr
        assert "LEGWORK_OPEN_READS" in done.stderr


def test_other_unknown_variables_are_named_once_and_links_never(tmp_path: Path) -> None:
    links = {
        "LEGWORK_SERVICE_HOST": "10.96.0.7", "LEGWORK_SERVICE_PORT": "8000", "LEGWORK_SERVICE_PORT_HTTP": "8000",
        "LEGWORK_PORT": "tcp://10.96.0.7:8000", "LEGWORK_PORT_8000_TCP": "tcp://10.96.0.7:8000",
        "LEGWORK_PORT_8000_TCP_PROTO": "tcp", "LEGWORK_PORT_8000_TCP_PORT": "8000",
        "LEGWORK_PORT_8000_TCP_ADDR": "10.96.0.7", "LEGWORK_DB_SERVICE_HOST": "10.96.0.8",
        "LEGWORK_DB_PORT": "tcp://10.96.0.8:5432", "LEGWORK_DB_PORT_5432_TCP_ADDR": "10.96.0.8",
    }  # fmt: skip
    done = start("settings", **links)
    assert (done.returncode, done.stderr) == (0, "")
    assert "LEGWORK_PORT=8000\n" in done.stdout
    done = start("keys", "list", LEGWORK_COLOUR="blue", LEGWORK_FUTURE="1", LEGWORK_TEST_FLIPS="1",
                 LEGWORK_SHOP_DATABASE_URL=f"sqlite:///{tmp_path}/shop.db")  # fmt: skip
    assert done.returncode == 0
    assert done.stderr == "Ignored, because no setting has this name: LEGWORK_COLOUR, LEGWORK_FUTURE.\n"


def test_two_wrong_settings_are_both_named() -> None:
    done = start("settings", LEGWORK_PORT="many", LEGWORK_METRICS="on")
    assert "LEGWORK_PORT" in done.stderr
    assert "LEGWORK_METRICS" in done.stderr


def test_secrets_are_not_listed(legwork: Any) -> None:
    code, out, _ = legwork("settings", mirror_key="legwork-1-hush", read_url="postgresql://me:hush@h/legwork")
    assert code == 0
    assert "hush" not in out
    assert "postgresql://me:***@h/legwork" in out
