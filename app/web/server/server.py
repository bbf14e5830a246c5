"""Runs the service over HTTP: uvicorn with our clocks on each connection, our log, and no Server header."""

import contextlib
import errno
import logging
import resource
import signal
import socket
import sys
from typing import Literal

import uvicorn
from starlette.types import ASGIApp
from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware

from app.settings import Settings
from app.web.logs import ServerLog, build_logger
from app.web.middleware.cross_origin import CrossOrigin
from app.web.middleware.measured import MeasuredApp
from app.web.server.addresses import announce
from app.web.server.protocols import timed

CANNOT_LISTEN = 3
"""Exit code if the address cannot be listened on."""


def config_of(app: ASGIApp, settings: Settings, parser: Literal["httptools", "h11"] = "httptools") -> uvicorn.Config:
    """How uvicorn runs `app`.

    Its own limit_concurrency counts idle connections too, so ours are used instead (`max_connections`,
    `max_in_flight`). X-Forwarded-* are trusted from `trusted_proxies` only.
    """
    if settings.metrics != "off":
        app = MeasuredApp(app)
    if settings.trusted_proxies:
        app = ProxyHeadersMiddleware(app, trusted_hosts=settings.trusted_proxies)  # type: ignore[arg-type, assignment]
    if settings.cors_origins:
        app = CrossOrigin(app, settings.cors_origins)
    return uvicorn.Config(
        app,
        host=settings.host,
        port=settings.port,
        http=timed(settings, parser),
        ws="none",
        lifespan="on",
        log_config=None,
        access_log=False,
        proxy_headers=False,
        server_header=False,
        timeout_keep_alive=settings.keep_alive_timeout,
        timeout_graceful_shutdown=settings.shutdown_timeout,
        h11_max_incomplete_event_size=2 * (settings.max_header_bytes + settings.max_url_bytes),
    )


def run(settings: Settings, app: ASGIApp) -> None:
    """Serve until SIGTERM or SIGINT; running requests get `shutdown_timeout` seconds.

    If the address cannot be used: one plain line on standard error and exit code 3.
    """
    listening = _listen(settings)
    _log_through_ours(settings)
    _allow_connections(settings.max_connections)
    announce(settings, listening.getsockname()[1], sys.stderr)
    for asked_to_stop in (signal.SIGTERM, signal.SIGINT):  # uvicorn raises it again at the end
        signal.signal(asked_to_stop, _stopped)
    uvicorn.Server(config_of(app, settings)).run(sockets=[listening])


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


def _log_through_ours(settings: Settings) -> None:
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
