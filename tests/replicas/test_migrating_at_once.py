"""`legwork migrate` on several machines at once: one of them migrates, the others wait, none fails."""

import subprocess
import sys
from pathlib import Path

import pytest

from app.database.connections import Database
from app.database.migrating import state

ROOT = Path(__file__).parents[2]
AT_ONCE = 4


@pytest.mark.parametrize("engine", ["sqlite", "postgresql"])
def test_one_does_it_and_none_fails(engine: str, tmp_path: Path, request: pytest.FixtureRequest) -> None:
    url = f"sqlite:///{tmp_path / 'legwork.db'}"
    if engine == "postgresql":
        url = request.getfixturevalue("fresh_server_url")
    given = {"LEGWORK_DATABASE_URL": url, "LEGWORK_SHOP_DATABASE_URL": f"sqlite:///{tmp_path / 'shop.db'}"}
    command = [sys.executable, "-m", "app", "migrate"]
    processes = [
        subprocess.Popen(command, cwd=ROOT, env=given, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        for _ in range(AT_ONCE)
    ]
    said = [process.communicate(timeout=120)[0] for process in processes]
    assert [process.returncode for process in processes] == [0] * AT_ONCE, said
    for each, which in ((url, "catalogue"), (given["LEGWORK_SHOP_DATABASE_URL"], "shop")):
        database = Database(each)
        with database.read() as connection:
            assert state(connection, which) == "current"
        database.close()


def test_a_migration_waits_longer_for_another_than_a_write_does(
    fresh_server_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the lock timeout of writes cut to 0.1 s: a migration has its own."""
    import threading
    import time

    from app.database.migrating import migrate

    monkeypatch.setattr("app.database.connections.WRITER_WAIT_S", 0.1)
    first, second = Database(fresh_server_url), Database(fresh_server_url)
    with first.write():
        waiting = threading.Thread(target=migrate, args=(second, "catalogue"))
        waiting.start()
        time.sleep(0.5)
        assert waiting.is_alive()
    waiting.join(60)
    with second.read() as connection:
        assert state(connection, "catalogue") == "current"
    first.close()
    second.close()
