"""Two workers that count in one store (Debian's redis-server), and what they do while it is down."""

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.database.connections import Database
from app.database.migrating import migrate
from tests.api.writing import TORQUE
from tests.conftest import Fresh
from tests.problems import assert_problem
from tests.replicas.conftest import Client, Serving, until
from tests.replicas.servers import free_port

ASKED = f"/v1/torques/{TORQUE}"


class Store:
    """A redis-server that keeps nothing on disk."""

    def __init__(self, folder: Path) -> None:
        program = shutil.which("redis-server")
        if program is None:
            assert not os.environ.get("CI"), "redis-server is missing"
            pytest.skip("needs redis-server (apt-get install redis-server)")
        self.port = free_port()
        self.command = [program, "--port", str(self.port), "--bind", "127.0.0.1", "--save", "", "--dir", str(folder)]

    def start(self) -> None:
        self.process = subprocess.Popen(self.command, stdout=subprocess.DEVNULL)
        until(self._answers)

    def stop(self) -> None:
        self.process.kill()
        self.process.wait()

    def _answers(self) -> bool:
        import redis

        try:
            return bool(redis.Redis(port=self.port).ping())
        except redis.ConnectionError:
            return False


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    one = Store(tmp_path)
    one.start()
    yield one
    one.stop()


@pytest.fixture
def workers(store: Store, fresh_database: Fresh, service: Serving, tmp_path: Path) -> Iterator[tuple[Client, Client]]:
    """Both allow each client 10 lookups an hour."""
    shop_url = f"sqlite:///{tmp_path / 'shop.db'}"
    shop = Database(shop_url)
    migrate(shop, "shop")
    shop.close()
    given = {"read_rate": "10/hour", "rate_store": f"redis://127.0.0.1:{store.port}/0"}
    with (
        fresh_database("sqlite", True) as url,
        service(url, shop_url, **given) as one,
        service(url, shop_url, **given) as other,
    ):
        yield one, other


def test_a_rate_holds_over_both_workers(workers: tuple[Client, Client]) -> None:
    for worker in workers:
        del worker.headers["Authorization"]
    answers = [workers[number % 2].get(ASKED) for number in range(12)]
    assert [answer.status_code for answer in answers] == [200] * 10 + [429] * 2
    assert answers[9].headers["ratelimit"].startswith('"client";r=0;')
    assert_problem(answers[10], 429)


def test_a_key_is_one_client_of_both_workers(workers: tuple[Client, Client]) -> None:
    one, another = ({"Authorization": worker.headers["Authorization"]} for worker in workers)
    assert one != another
    answers = [workers[number % 2].get(ASKED, headers=one) for number in range(12)]
    assert [answer.status_code for answer in answers] == [200] * 10 + [429] * 2
    assert workers[0].get(ASKED, headers=another).status_code == 200


def test_each_counts_for_itself_while_the_store_is_away(workers: tuple[Client, Client], store: Store) -> None:
    assert workers[0].get(ASKED).status_code == 200
    store.stop()
    for worker in workers:
        statuses = [worker.get(ASKED).status_code for _ in range(12)]
        assert statuses == [200] * 10 + [429] * 2
        assert worker.log.getvalue().count('"rate_store"') == 1
    store.start()
    for worker in workers:
        until(lambda worker=worker: worker.get(ASKED).status_code == 200)  # type: ignore[misc]
