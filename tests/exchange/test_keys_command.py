"""`legwork keys`: a key is shown once, listed without its secret, and refused after it is revoked."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from app.access import keys
from app.database.connections import Database
from app.errors import Unauthorised


def legwork(folder: Path, *arguments: str) -> tuple[int, dict[str, Any]]:
    given = {name: f"sqlite:///{folder / name}.db" for name in ("LEGWORK_DATABASE_URL", "LEGWORK_SHOP_DATABASE_URL")}
    command = [sys.executable, "-m", "app", "keys", *arguments, "--json"]
    done = subprocess.run(command, env={**os.environ, **given}, capture_output=True, text=True, timeout=120)
    return done.returncode, json.loads(done.stdout)


def test_a_key_is_made_shown_once_listed_and_revoked(tmp_path: Path) -> None:
    code, made = legwork(tmp_path, "add", "bench 1", "--scope", "edit", "--scope", "read")
    assert (code, made["label"], made["scopes"]) == (0, "bench 1", ["edit", "read"])
    shop = Database(f"sqlite:///{tmp_path / 'LEGWORK_SHOP_DATABASE_URL'}.db")
    caller = keys.caller(shop, f"Bearer {made['key']}")
    assert caller is not None
    assert (caller.label, caller.may("edit"), caller.may("admin")) == ("bench 1", True, False)
    code, listed = legwork(tmp_path, "list")
    assert [key["id"] for key in listed["keys"]] == [made["id"]]
    assert made["key"][-43:] not in json.dumps(listed)
    assert legwork(tmp_path, "revoke", made["id"]) == (0, {"revoked": made["id"]})
    with pytest.raises(Unauthorised):
        keys.caller(shop, f"Bearer {made['key']}")
    for wrong in (("revoke", made["id"]), ("add", "x" * 61, "--scope", "edit"), ("add", "bench", "--scope", "all")):
        code, refused = legwork(tmp_path, *wrong)
        assert code == 1
        assert refused["refused"]["detail"]
    shop.close()
