"""Runs the service over HTTP: uvicorn with our clocks on each connection, our log, and no Server header."""

import contextlib
import errno
import logging
import os
import resource
import signal
import socket
import sys
import tempfile
from typing import Any, Literal

import uvicorn
from starlette.types import ASGIApp
from uvicorn.config import STARTUP_FAILURE
from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware
from uvicorn.supervisors import Multiprocess

from app.settings import Settings
from app.web.logs import ServerLog, build_logger
from app.web.middleware.cross_origin import CrossOrigin
from app.web.middleware.measured import MeasuredApp
from app.web.server.addresses import announce
from app.web.server.protocols import timed

CANNOT_LISTEN = 3
"""Exit code if the address cannot be listened on."""


def config_of(app: ASGIApp, settings: Settings, parser: Literal["httptools", "h11"] = "httptools") -> uvicorn.Config:
    """How uvicorn is to run `app`. Its own limit_concurrency counts idle connections too, so ours are used instead
    (`max_connections`, `max_in_flight`); X-Forwarded-* are believed from `trusted_proxies` only."""
    return uvicorn.Config(wrapped(app, settings), http=timed(settings, parser), **_common(settings))


def wrapped(app: ASGIApp, settings: Settings) -> ASGIApp:
    """A service with what belongs around it: metrics, trusted proxies and other origins, each if it is set."""
    if settings.metrics != "off":
        app = MeasuredApp(app, settings.worker_folder)
    if settings.trusted_proxies:
        app = ProxyHeadersMiddleware(app, trusted_hosts=settings.trusted_proxies)  # type: ignore[arg-type, assignment]
    if settings.cors_origins:
        app = CrossOrigin(app, settings.cors_origins)
    return app


def _common(settings: Settings) -> dict[str, Any]:
    return {
        "host": settings.host,
        "port": settings.port,
        "ws": "none",
        "lifespan": "on",
        "log_config": None,
        "access_log": False,
        "proxy_headers": False,
        "server_header": False,
        "timeout_keep_alive": settings.keep_alive_timeout,
        "timeout_graceful_shutdown": settings.shutdown_timeout,
        "h11_max_incomplete_event_size": 2 * (settings.max_header_bytes + settings.max_url_bytes),
    }


def run(settings: Settings, app: ASGIApp) -> None:
    """Serve until SIGTERM or SIGINT; running requests get `shutdown_timeout` seconds.

    If the address cannot be used: one plain line on standard error and exit code 3.
    """
    listening = _listen(settings)
    log_through_ours(settings)
    _allow_connections(settings.max_connections)
    announce(settings, listening.getsockname()[1], sys.stderr)
    for asked_to_stop in (signal.SIGTERM, signal.SIGINT):  # uvicorn raises it again at the end
        signal.signal(asked_to_stop, _stopped)
    uvicorn.Server(config_of(app, settings)).run(sockets=[listening])


def run_workers(settings: Settings) -> None:
    """Like `run`, with several processes under uvicorn's supervisor, which replaces one that ends or hangs.

    They build the service from `app.main:worker` and the environment, so what differs from it is written there.
    """
    listening = _listen(settings)
    _allow_connections(settings.max_connections)
    announce(settings, listening.getsockname()[1], sys.stderr)
    print(_rates_of(settings), file=sys.stderr, flush=True)
    with tempfile.TemporaryDirectory(prefix="legwork-workers-", ignore_cleanup_errors=True) as folder:
        os.environ.update(_environment(settings, folder))
        log_through_ours(settings)
        config = uvicorn.Config(
            "app.main:worker", factory=True, http="app.web.server.protocols:in_worker",
            workers=settings.workers, **_common(settings),
        )  # fmt: skip
        supervisor = Multiprocess(config, sockets=[listening])
        supervisor.run()
    if any(process.exitcode == STARTUP_FAILURE for process in supervisor.processes):
        raise SystemExit(1)


def _environment(settings: Settings, folder: str) -> dict[str, str]:
    """The settings that `serve` may have changed, as variables."""
    return {
        "LEGWORK_DATABASE_URL": settings.database_url,
        "LEGWORK_HOST": settings.host,
        "LEGWORK_PORT": str(settings.port),
        "LEGWORK_ALLOWED_HOSTS": ",".join(settings.allowed_hosts),
        "LEGWORK_WORKERS": str(settings.workers),
        "LEGWORK_WORKER_FOLDER": folder,
    }


def _rates_of(settings: Settings) -> str:
    begin = f"{settings.workers} workers."
    if settings.rate_store != "memory://":
        return f"{begin} They count rates together in LEGWORK_RATE_STORE."
    lookups = (
        "Lookups have no rate."
        if settings.read_rate is None
        else f"Each worker applies the whole rate of lookups, {settings.read_rate}; LEGWORK_RATE_STORE would share it."
    )
    return f"{begin} Writes are counted together, {settings.write_rate}. {lookups}"


def _stopped(*_: object) -> None:
    raise SystemExit(0)


def _listen(settings: Settings) -> socket.socket:
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    listening = socket.socket(family)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((settings.host, settings.port))
        listening.listen(2_048)
    except (OSError, UnicodeError) as error:
        listening.close()
        in_use = isinstance(error, OSError) and error.errno == errno.EADDRINUSE
        why = "another program is using it" if in_use else getattr(error, "strerror", None) or "it is not an address"
        print(f"Cannot listen on {settings.host} port {settings.port}: {why}.", file=sys.stderr)
        raise SystemExit(CANNOT_LISTEN) from None
    return listening


def log_through_ours(settings: Settings) -> None:
    """Write what uvicorn has to say, from warnings on, as lines of our log."""
    said = logging.getLogger("uvicorn.error")
    said.handlers = [ServerLog(build_logger(settings))]
    said.propagate = False
    said.setLevel(logging.WARNING)


def _allow_connections(number: int) -> None:
    """Raise the soft limit of open files up to the hard one; each connection needs one file."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = number + 64
    if soft != resource.RLIM_INFINITY and soft < wanted:
        with contextlib.suppress(ValueError):  # keep an operator's lower hard limit
            resource.setrlimit(
                resource.RLIMIT_NOFILE, (wanted if hard == resource.RLIM_INFINITY else min(wanted, hard), hard)
            )
