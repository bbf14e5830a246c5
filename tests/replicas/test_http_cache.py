"""Debian's nginx in front of the service, set up with `cache.conf`: it fetches a pinned revision from the origin once.

RFC 9111: an answer with `max-age` is served without revalidation (4.2), `no-cache` and `private` never come from a
shared cache without it (5.2.2.4, 5.2.2.7), and an answer fits only requests with the headers that `Vary` names
(4.1)."""

import os
import shutil
import subprocess
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx
import pytest

from app.database.connections import Database
from app.database.migrating import migrate
from tests.api.writing import TORQUE
from tests.conftest import Fresh
from tests.replicas.conftest import Client, Serving, until
from tests.replicas.servers import free_port

FITS = "/v1/chassis/quembry-trivet-35/fits?travel=150"
PINNED = f"{FITS}&revision=1"
CONFIG = (Path(__file__).parent / "cache.conf").read_text()
WHOLE = """
daemon off; pid {folder}/nginx.pid; error_log {folder}/error.log; {user}
events {{}}
http {{
client_body_temp_path {folder}/a; fastcgi_temp_path {folder}/b; uwsgi_temp_path {folder}/c; scgi_temp_path {folder}/d;
proxy_temp_path {folder}/e; access_log off;
{server}
}}
"""


class Front:
    """The address of the cache, a client of the service behind it, and a count of the service's requests."""

    def __init__(self, url: str, origin: Client) -> None:
        self.origin = origin
        self.client = httpx.Client(base_url=url, timeout=30)

    def get(self, path: str, **headers: str) -> httpx.Response:
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        return self.client.get(path, headers=sent)

    def asked(self) -> int:
        """The number of lookups that reached the service, by its log, since the last call."""
        log = self.origin.log
        lines = log.getvalue().splitlines()
        log.seek(0)
        log.truncate()
        return sum('"/v1/' in line for line in lines)


@pytest.fixture
def front(fresh_database: Fresh, service: Serving, tmp_path: Path) -> Iterator[Front]:
    """nginx in front of a service on a SQLite catalogue with the demo at revision 1."""
    program = shutil.which("nginx", path=f"{os.environ['PATH']}:/usr/sbin")
    if program is None:
        assert not os.environ.get("CI"), "nginx is missing"
        pytest.skip("needs nginx (apt-get install nginx-light)")
    shop = Database(f"sqlite:///{tmp_path / 'shop.db'}")
    migrate(shop, "shop")
    shop.close()
    port = free_port()
    with fresh_database("sqlite", True) as url, service(url, f"sqlite:///{tmp_path / 'shop.db'}") as origin:
        server = CONFIG.replace("{folder}", str(tmp_path)).replace("{port}", str(port))
        server = server.replace("{origin}", str(origin.base_url).rstrip("/"))
        user = "user root;" if os.geteuid() == 0 else ""
        (tmp_path / "nginx.conf").write_text(WHOLE.format(folder=tmp_path, user=user, server=server))
        process = subprocess.Popen([program, "-p", str(tmp_path), "-c", str(tmp_path / "nginx.conf")])
        cache = Front(f"http://127.0.0.1:{port}", origin)
        try:
            until(lambda: _answers(cache))
            cache.asked()
            yield cache
        finally:
            cache.client.close()
            process.terminate()
            process.wait(20)


def _answers(front: Front) -> bool:
    try:
        return front.get("/healthz").status_code == 200
    except httpx.TransportError:
        return False


def test_a_pinned_revision_is_asked_for_once(front: Front) -> None:
    with ThreadPoolExecutor(8) as many:
        answers = list(many.map(lambda _: front.get(PINNED), range(24)))
    assert front.asked() == 1
    assert {answer.status_code for answer in answers} == {200}
    assert len({answer.content for answer in answers}) == 1
    (control,) = {answer.headers["cache-control"] for answer in answers}
    assert control == "max-age=86400"
    again = front.get(PINNED, If_None_Match=answers[0].headers["etag"])
    assert (again.status_code, again.content) == (304, b"")
    assert front.asked() == 0


def test_each_form_is_kept_apart(front: Front) -> None:
    forms = ("application/json", "text/html", "text/csv", "text/plain")
    for _ in range(2):
        for form in forms:
            for coding in ("gzip", "identity"):
                answer = front.get(PINNED, Accept=form, Accept_Encoding=coding)
                assert answer.headers["content-type"].startswith(form)
                assert answer.headers.get("content-encoding", "identity") == coding
                assert {"accept", "accept-encoding"} <= {
                    name.strip().lower() for name in answer.headers["vary"].split(",")
                }
    assert front.asked() == 2 * len(forms)


def test_the_newest_is_asked_for_each_time(front: Front) -> None:
    for _ in range(3):
        answer = front.get(FITS)
        assert answer.headers["cache-control"] == "no-cache"
    assert front.asked() == 3
    assert front.get(FITS, If_None_Match=answer.headers["etag"]).status_code == 304
    assert front.asked() == 1
    row = front.origin.get(f"/v1/torques/{TORQUE}")
    assert front.origin.put(row.json()["row"], "171", row.headers["etag"]).json()["revision"] == 2
    assert front.get(FITS).json()["revision"] == 2
    assert front.get(PINNED).json()["revision"] == 1


def test_what_came_with_a_key_or_was_refused_is_not_kept(front: Front) -> None:
    for _ in range(2):
        answer = front.get(PINNED, Authorization=front.origin.headers["authorization"])
        assert answer.headers["cache-control"] == "private, max-age=86400"
        for path, status in (
            (f"{FITS}&revision=2", 422),
            (f"{FITS}&min_revision=2", 503),
            ("/v1/chassis/no-such", 404),
        ):
            refused = front.get(path)
            assert refused.status_code == status
            assert refused.headers["cache-control"] == "no-store"
    assert front.asked() == 8
