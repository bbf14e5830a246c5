"""create_app builds the whole web service from settings and a catalogue; nothing else is assembled anywhere."""

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from functools import cache
from typing import Any, TextIO

from fastapi import FastAPI
from starlette.middleware import Middleware
from starlette.types import ASGIApp, Receive, Scope, Send

from app.access.audit import FailedKeys, erase_old
from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.drafts.kept import erase_old_drafts
from app.drafts.load import settle_interrupted
from app.errors import Refusal
from app.exchange.kept_exports import KeptExports
from app.settings import Settings
from app.web.contract.openapi import served
from app.web.demonstration import Demonstration, is_below
from app.web.logs import build_logger
from app.web.middleware.answer_cache import AnswerCache, KeyedRequest
from app.web.middleware.audits import Audits
from app.web.middleware.closed_reads import ClosedReads
from app.web.middleware.compression import Compression
from app.web.middleware.hosts import Hosts
from app.web.middleware.limits import Limits
from app.web.middleware.methods import Methods
from app.web.middleware.paths import Paths
from app.web.middleware.rates import RateCounter, Rates
from app.web.middleware.requests import RequestLog, Requests
from app.web.middleware.security import Security
from app.web.middleware.signed_in import SignedIn
from app.web.middleware.waiting import Waiting
from app.web.refusals import HANDLERS
from app.web.representation.prepared import prepare_soon
from app.web.routes import ROUTERS
from app.web.server.integrity_check import look_through_soon
from app.web.server.server import log_through_ours, wrapped

ERASED_EVERY_S = 6 * 3600


class Service(FastAPI):
    """The whole service: the answer cache, and FastAPI with all its layers behind it."""

    answers: AnswerCache
    demonstration: Demonstration | None = None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        scope["app"] = self
        if self.demonstration is not None and is_below(scope):
            await self.demonstration(scope, receive, send)
        else:
            await self.answers(scope, receive, send)


def create_app(
    settings: Settings | None = None,
    catalogue: Any = None,
    shop: Any = None,
    *,
    log_to: TextIO | None = None,
    demonstration: bool = True,
) -> Service:
    """Build the service for one catalogue and one shop database, with the demonstration under /demo if reads are open.

    Routes find `settings`, `catalogue`, `shop` and `logger` on `request.app.state`.
    """
    settings = settings or Settings()
    logger = build_logger(settings, log_to)
    rates = RateCounter(settings, logger)
    app: Service = Service(
        title="Legwork",
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        redirect_slashes=False,
        lifespan=_begun,
        exception_handlers=HANDLERS,
        telemetry={"tracing": False, "metrics": False, "logs": False, "auto_configure": False},  # it would call out
        middleware=[
            Middleware(Security),
            Middleware(Requests, logger=logger),
            Middleware(Waiting, limit_s=settings.max_lag),
            Middleware(Hosts, allowed=settings.allowed_hosts),
            Middleware(SignedIn),
            Middleware(Rates, counter=rates),
            Middleware(Audits, logger=logger),
            Middleware(Limits, settings=settings),
            *([] if settings.open_reads else [Middleware(ClosedReads)]),
            Middleware(Methods, routes=lambda: app.router.routes),
            Middleware(Paths),
            Middleware(KeyedRequest),
            Middleware(Compression),
        ],
    )
    app.state.settings = settings
    app.state.catalogue = catalogue
    app.state.shop = shop
    app.state.logger = logger
    app.state.rates = rates
    app.state.batch_turn = asyncio.Lock()
    app.state.failed_keys = FailedKeys()
    app.state.exports = KeptExports(settings.database_url)
    app.answers = AnswerCache(super(Service, app).__call__, catalogue, settings, RequestLog(logger), rates)
    if demonstration and settings.open_reads:
        app.demonstration = Demonstration(
            settings, lambda own, of: create_app(own, of, log_to=log_to, demonstration=False)
        )
    app.state.openapi_bytes = cache(served)
    app.openapi = cache(lambda: json.loads(served()))  # type: ignore[method-assign]
    for router in ROUTERS:
        # Not include_router: it lays a second matcher over every route, per request; prefix and tags are in the routes.
        app.router.routes.extend(router.routes)
    return app


@asynccontextmanager
async def _begun(app: FastAPI) -> AsyncIterator[None]:
    """Build the API description before the first request, so a service that cannot describe itself does not start."""
    app.state.openapi_bytes()
    catalogue, shop = app.state.catalogue, app.state.shop
    databases = [each for each in (catalogue and catalogue.database, shop) if each is not None]
    later = (prepare_soon(), look_through_soon(databases, app.state.logger))
    erasing = asyncio.create_task(_erase_old_entries(app)) if shop is not None else None
    yield
    if erasing is not None:
        erasing.cancel()
    for each in later:
        if each is not None:
            each.cancel()


def _settle_drafts(app: FastAPI) -> None:
    """Close or open again the drafts whose load was interrupted, and erase the old ones."""
    if app.state.catalogue is not None:
        settle_interrupted(app.state.shop, app.state.catalogue.database)
    erase_old_drafts(app.state.shop)


async def _erase_old_entries(app: FastAPI) -> None:
    """Erase old audit entries and drafts now and every six hours. If the shop database takes no writes then, the next
    time."""
    while True:
        with suppress(Refusal):
            await asyncio.to_thread(erase_old, app.state.shop, app.state.settings.audit_days)
        with suppress(Refusal):
            await asyncio.to_thread(_settle_drafts, app)
        await asyncio.sleep(ERASED_EVERY_S)


def worker() -> ASGIApp:
    """The service of one of several workers, from the environment alone: uvicorn calls it in each process."""
    settings = Settings()
    log_through_ours(settings)
    stored = Database(settings.database_url, settings.read_url)
    app = create_app(settings, Catalogue(stored), Database(settings.shop_database_url))
    return wrapped(app, settings)
