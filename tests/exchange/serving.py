"""A service on a real socket, and a line to it that is cut now and then."""

import contextlib
import io
import random
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import uvicorn

from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.main import create_app
from app.web.server.server import config_of
from tests.api.writing import settings_of, shop_beside


@contextmanager
def serving(database: Database, folder: Path, **more: Any) -> Iterator[tuple[str, Database]]:
    """The address of a service on a catalogue, and its shop database."""
    url = database.url.render_as_string(hide_password=False)
    with shop_beside(url, folder) as shop:
        settings = settings_of(database, shop, allowed_hosts=["127.0.0.1"], port=0, **more)
        app = create_app(settings, Catalogue(database), shop, log_to=io.StringIO())
        server = uvicorn.Server(config_of(app, settings))
        thread = threading.Thread(target=server.run, daemon=True)
        thread.start()
        deadline = time.monotonic() + 60
        while not server.started:
            assert time.monotonic() < deadline, "the server did not start"
            time.sleep(0.02)
        yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}", shop
        server.should_exit = True
        thread.join(20)


class CutWire:
    """Passes bytes on to a service and resets every connection somewhere in an answer, usually the first one."""

    def __init__(self, url: str, seed: int) -> None:
        self.behind = int(url.rsplit(":", 1)[1])
        self.chance = random.Random(seed)
        self.cuts = 0
        self.listening = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self.listening.getsockname()[1]}"
        threading.Thread(target=self._accept, daemon=True).start()

    def close(self) -> None:
        self.listening.close()

    def _accept(self) -> None:
        with contextlib.suppress(OSError):  # closed
            while True:
                near, _ = self.listening.accept()
                far = socket.create_connection(("127.0.0.1", self.behind))
                most = self.chance.randint(0, self.chance.choice((800, 800, 800, 8_000, 40_000)))
                threading.Thread(target=self._pass_on, args=(near, far, None), daemon=True).start()
                threading.Thread(target=self._pass_on, args=(far, near, most), daemon=True).start()

    def _pass_on(self, source: socket.socket, sink: socket.socket, most: int | None) -> None:
        passed = 0
        with contextlib.suppress(OSError):  # the other direction was cut
            while part := source.recv(4096):
                if most is not None and passed + len(part) > most:
                    sink.sendall(part[: most - passed])
                    self.cuts += 1
                    break
                sink.sendall(part)
                passed += len(part)
        for end in (source, sink):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()
