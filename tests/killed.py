"""A service in a process that gets killed, forked from one that has done its imports: a start takes half a second.

LEGWORK_TEST_KILLS sets how often each test kills; without it all tests together kill 20 times."""

import contextlib
import multiprocessing
import os
import signal
import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager
from multiprocessing.process import BaseProcess

import httpx

PRELOADED = ["app.main", "app.web.server.server", "app.cli.program", "app.cli.serving", "app.exchange.loading"]


def kills(few: int) -> int:
    """The number of times a test kills the service."""
    return int(os.environ.get("LEGWORK_TEST_KILLS", few))


def serve(given: dict[str, str], port: int) -> None:
    """`legwork serve`, in its own process group."""
    from app.cli.program import cli

    os.setsid()
    os.environ.update(given)
    with open(os.devnull, "w") as nowhere:
        os.dup2(nowhere.fileno(), 1)
        os.dup2(nowhere.fileno(), 2)
    cli(["serve", "--port", str(port)])


class Served:
    """A running service, and a client that sends one key."""

    def __init__(self, process: BaseProcess, client: httpx.Client) -> None:
        self.process, self.client = process, client
        assert process.pid is not None
        self.pid: int = process.pid

    def kill(self, *, children: bool = False) -> None:
        """SIGKILL to the service and, if requested, to its child processes."""
        if children:
            os.killpg(self.pid, signal.SIGKILL)
        else:
            os.kill(self.pid, signal.SIGKILL)
        self.process.join(20)


@contextmanager
def served(url: str, shop_url: str, token: str, **more: str) -> Iterator[Served]:
    """A service with `more` settings that is ready; stopped at the end if it is still running."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    given = {
        "LEGWORK_DATABASE_URL": url, "LEGWORK_SHOP_DATABASE_URL": shop_url, "LEGWORK_WRITE_RATE": "100000/minute",
        **more,
    }  # fmt: skip
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(PRELOADED)
    process = context.Process(target=serve, args=(given, port))
    process.start()
    headers = {"Authorization": f"Bearer {token}"}
    try:
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", headers=headers, timeout=60) as client:
            deadline = time.monotonic() + 120
            while True:
                with contextlib.suppress(httpx.TransportError):
                    if client.get("/readyz").status_code == 200:
                        break
                assert process.is_alive(), "the service ended"
                assert time.monotonic() < deadline, "the service did not start"
                time.sleep(0.02)
            yield Served(process, client)
    finally:
        process.kill()
        process.join(20)
