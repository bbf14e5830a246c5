"""create_app: settings and catalogue in, the whole web service out; nothing else is assembled anywhere."""

import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import cache
from typing import Any, TextIO

from fastapi import FastAPI
from starlette.middleware import Middleware

from app.settings import Settings
from app.web.logs import build_logger
from app.web.middleware.audits import Audits
from app.web.middleware.closed_reads import ClosedReads
from app.web.middleware.compression import Compression
from app.web.middleware.hosts import Hosts
from app.web.middleware.limits import Limits
from app.web.middleware.methods import Methods
from app.web.middleware.paths import Paths
from app.web.middleware.rates import Rates
from app.web.middleware.requests import Requests
from app.web.middleware.security import Security
from app.web.openapi import served
from app.web.refusals import HANDLERS
from app.web.routes import ROUTERS


def create_app(
    settings: Settings | None = None, catalogue: Any = None, shop: Any = None, *, log_to: TextIO | None = None
) -> FastAPI:
    """The service over one catalogue and one shop database.

    Routes find `settings`, `catalogue`, `shop` and `logger` on `request.app.state`.
    """
    settings = settings or Settings()
    logger = build_logger(settings, log_to)
    app: FastAPI = FastAPI(
        title="Legwork",
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        redirect_slashes=False,
        lifespan=_begun,
        exception_handlers=HANDLERS,
        middleware=[
            Middleware(Security),
            Middleware(Requests, logger=logger),
            Middleware(Hosts, allowed=settings.allowed_hosts),
            Middleware(Rates, settings=settings),
            Middleware(Audits, logger=logger),
            Middleware(Limits, settings=settings),
            *([] if settings.open_reads else [Middleware(ClosedReads)]),
            Middleware(Methods, routes=lambda: app.router.routes),
            Middleware(Compression),
            Middleware(Paths),
        ],
    )
    app.state.settings = settings
    app.state.catalogue = catalogue
    app.state.shop = shop
    app.state.logger = logger
    app.state.openapi_bytes = cache(served)
    app.openapi = cache(lambda: json.loads(served()))  # type: ignore[method-assign]
    for router in ROUTERS:
        # Not include_router: it lays a second matcher over every route, per request; prefix and tags are in the routes.
        app.router.routes.extend(router.routes)
    return app


@asynccontextmanager
async def _begun(app: FastAPI) -> AsyncIterator[None]:
    """Before the first request: a service that cannot describe itself does not start."""
    app.state.openapi_bytes()
    yield
