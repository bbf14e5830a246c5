"""A service in this process, asked without a socket: reads lines `times accept address`, writes status and seconds.

`python tests/load/in_process.py URL SETTINGS`, run with the folder of any build as the Python path, so that two builds
can be asked in turns. It uses only what older builds have too. The seconds are processor time."""

import asyncio
import io
import json
import sys
import time
from typing import Any

from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.main import create_app
from app.settings import Settings


async def answers(url: str, settings: dict[str, Any]) -> None:
    """Answer each line of standard input with a line of JSON."""
    app = create_app(Settings(allowed_hosts=["localhost"], **settings), Catalogue(Database(url)), log_to=io.StringIO())
    async with app.router.lifespan_context(app):
        while line := await asyncio.to_thread(sys.stdin.readline):
            times, accept, address = line.rstrip("\n").split(" ", 2)
            status = await ask(app, accept, address)  # builds what is built once
            begun = time.process_time()
            for _ in range(int(times)):
                status = await ask(app, accept, address)
            print(json.dumps({"status": status, "seconds": time.process_time() - begun}), flush=True)


async def ask(app: Any, accept: str, address: str) -> int:
    """Send one GET; return its status."""
    path, _, query = address.partition("?")
    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": "GET", "scheme": "http",
        "path": path, "raw_path": path.encode(), "query_string": query.encode(), "root_path": "",
        "headers": [(b"host", b"localhost"), (b"accept", accept.encode())], "client": ("127.0.0.1", 1),
        "server": ("localhost", 80), "extensions": {}, "state": {},
    }  # fmt: skip
    status = 0
    received = False

    async def receive() -> dict[str, Any]:
        nonlocal received
        if received:
            await asyncio.sleep(3600)
        received = True
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: dict[str, Any]) -> None:
        nonlocal status
        status = message.get("status", status)

    await app(scope, receive, send)
    return status


if __name__ == "__main__":
    asyncio.run(answers(sys.argv[1], json.loads(sys.argv[2])))
