"""Several workers of one service: one address, one set of metrics, one rate of writes, whole log lines.

LEGWORK_TEST_WORKERS sets how many; the measured comparison with one worker is in tests/load.
"""

import fcntl
import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from app.access import keys
from app.access.stored import SHOP
from app.database.connections import Database
from app.database.migrating import migrate
from app.errors import Unavailable
from app.exchange.child import MOST_AT_ONCE, _slot
from tests.processes import started_by

WORKERS = int(os.environ.get("LEGWORK_TEST_WORKERS", "2"))
ASKED = 40


@contextmanager
def served(folder: Path, *arguments: str, **variables: str) -> Iterator[tuple[str, int, list[str]]]:
    """The address of a service in processes of its own, its first process, and the lines that it writes."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("LEGWORK_")}
    stored = {
        "LEGWORK_DATABASE_URL": f"sqlite:///{folder}/a.db",
        "LEGWORK_SHOP_DATABASE_URL": f"sqlite:///{folder}/b.db",
    }
    process = subprocess.Popen(
        [sys.executable, "-m", "app", "serve", "--port", "0", *arguments],
        env={**environment, **stored, "LEGWORK_MAX_LAG": "30", **variables}, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    lines: list[str] = []
    assert process.stderr is not None
    reader = threading.Thread(target=lambda: lines.extend(process.stderr or ()), daemon=True)
    reader.start()
    try:
        deadline = time.monotonic() + 120
        while not (found := re.search(r"http://\S+", "".join(lines))):
            assert process.poll() is None, lines
            assert time.monotonic() < deadline, lines
            time.sleep(0.05)
        url = found[0].rstrip("/")
        while not answers(url):
            assert process.poll() is None, lines
            assert time.monotonic() < deadline, lines
            time.sleep(0.2)
        yield url, process.pid, lines
    finally:
        process.send_signal(signal.SIGTERM)
        assert process.wait(60) == 0
        reader.join(10)


def answers(url: str) -> bool:
    try:
        return httpx.get(f"{url}/readyz", timeout=30).status_code == 200
    except httpx.HTTPError:
        return False


@pytest.mark.timeout(300)
def test_workers_are_one_service(tmp_path: Path) -> None:
    shop = Database(f"sqlite:///{tmp_path}/b.db")
    migrate(shop, "shop")
    key = keys.add(shop, "bench", ["edit", "admin"]).token
    with served(tmp_path, "--demo", "--workers", str(WORKERS), LEGWORK_METRICS="open", LEGWORK_WRITE_RATE="3/hour") as (
        url,
        first,
        lines,
    ):
        statuses: list[int] = []

        def look() -> None:
            statuses.extend(httpx.get(f"{url}/v1/makers", timeout=60).status_code for _ in range(ASKED))

        threads = [threading.Thread(target=look) for _ in range(4)]
        for each in threads:
            each.start()
        for each in threads:
            each.join()
        assert statuses == [200] * 4 * ASKED
        workers = [each for each in started_by(first) if b"spawn_main" in Path(f"/proc/{each}/cmdline").read_bytes()]
        assert len(workers) == WORKERS
        time.sleep(1.5)  # each worker writes its counters within half a second
        counted = [httpx.get(f"{url}/metrics", timeout=60).text for _ in range(4)]
        made = f'legwork_requests_total{{method="GET",route="/v1/makers",status="200"}} {4 * ASKED}.0'
        assert all(made in each for each in counted)
        headers = {"Authorization": f"Bearer {key}"}
        body = {"table": "makers", "op": "withdraw", "id": "no-such-row", "reason": "to count it"}
        writes = [httpx.post(f"{url}/v1/edits", json=body, headers=headers, timeout=60).status_code for _ in range(6)]
        assert [status for status in writes if status == 429] == [429] * 3, writes
        os.kill(workers[0], signal.SIGKILL)
        deadline = time.monotonic() + 90
        while workers[0] in (now := started_by(first)) or len(now) < WORKERS + 1 or not answers(url):
            assert time.monotonic() < deadline, "the worker was not replaced"
            time.sleep(0.5)
    begin, said, *rest = [line for line in lines if line.strip()]
    assert begin.startswith("Legwork answers at")
    assert f"{WORKERS} workers" in said
    assert "Writes are counted together, 3/hour" in said
    requests = [json.loads(line) for line in rest]
    assert sum(each.get("path") == "/v1/makers" for each in requests) == 4 * ASKED
    shop.close()


def test_slots_of_child_processes_are_shared_and_end_with_their_holder(tmp_path: Path) -> None:
    held = [
        os.open(tmp_path / f"check-{number}.lock", os.O_RDWR | os.O_CREAT) for number in range(MOST_AT_ONCE["check"])
    ]
    for each in held:
        fcntl.flock(each, fcntl.LOCK_EX)
    with pytest.raises(Unavailable, match="too many"), _slot("check", tmp_path):
        pass
    for each in held:
        os.close(each)
    with _slot("check", tmp_path), pytest.raises(Unavailable), _slot("check", tmp_path):
        pass
    with _slot("check", tmp_path):
        pass


@pytest.mark.timeout(200)
def test_an_older_catalogue_is_named_at_the_start_until_it_is_accepted(tmp_path: Path) -> None:
    shop = Database(f"sqlite:///{tmp_path}/b.db")
    migrate(shop, "shop")
    with served(tmp_path, "--demo") as (_, _, lines):
        pass
    assert "older" not in "".join(lines)
    seen = SHOP.tables["catalogue_seen"]
    with shop.write() as connection:
        connection.execute(seen.update().values(revision=7))
    with served(tmp_path) as (_, _, lines):
        pass
    assert "revision 1, but the shop database knows of revision 7" in "".join(lines)
    with served(tmp_path, "--accept") as (_, _, lines):
        pass
    assert "knows of" not in "".join(lines)
    with served(tmp_path) as (_, _, lines):
        pass
    assert "knows of" not in "".join(lines)
    shop.close()


@pytest.mark.parametrize("umask", [0o000, 0o022, 0o777])
def test_the_data_folder_is_its_owners_whatever_the_umask(tmp_path: Path, umask: int) -> None:
    code = f"import os, runpy, sys; os.umask({umask}); sys.argv = ['legwork', 'keys', 'list']; runpy.run_module('app')"
    environment = {name: value for name, value in os.environ.items() if not name.startswith("LEGWORK_")}
    here = str(Path(__file__).parents[2])
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=tmp_path,
        env={**environment, "PYTHONPATH": here},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    assert (tmp_path / ".data").stat().st_mode & 0o777 == 0o700
    assert (tmp_path / ".data" / "shop.db").stat().st_mode & 0o777 == 0o600
