"""The servers that Legwork is measured against, each a separate ASGI application: a constant body, the framework with a
constant body, and the same question answered as in tutorials. `YARDSTICK_DATABASE` is the database file."""

import json
import os
from pathlib import Path
from typing import Annotated, Any

from fastapi import Depends, FastAPI, HTTPException, Query
from fastapi.responses import Response
from sqlalchemy import create_engine
from sqlmodel import Field, MetaData, Relationship, Session, SQLModel, select

BODY = (
    b'{"fits":['
    + b",".join(b'{"id":"fit-%06d","travel_mm":150,"spacer_limit":4,"pressure_limit":"7.5"}' % n for n in range(28))
    + b"]}"
)
HEADERS = [(b"content-type", b"application/json"), (b"content-length", str(len(BODY)).encode())]


async def bare(scope: Any, receive: Any, send: Any) -> None:
    """The ceiling: a constant body and nothing else."""
    if scope["type"] == "http":
        await send({"type": "http.response.start", "status": 200, "headers": HEADERS})
        await send({"type": "http.response.body", "body": BODY})


class Repeating:
    """The ceiling for one answer: its headers and its body as recorded in `YARDSTICK_ANSWER`."""

    def __init__(self) -> None:
        recorded = json.loads(Path(os.environ["YARDSTICK_ANSWER"]).read_text())
        self.headers = [(name.encode("latin-1"), value.encode("latin-1")) for name, value in recorded["headers"]]
        self.body = recorded["body"].encode()

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] == "http":
            await send({"type": "http.response.start", "status": 200, "headers": self.headers})
            await send({"type": "http.response.body", "body": self.body})


repeating = Repeating() if "YARDSTICK_ANSWER" in os.environ else None

framework = FastAPI()


@framework.get("/v1/chassis/{chassis}/fits")
async def constant(
    chassis: str, model_year: Annotated[int, Query(ge=1900, le=2200)], travel: Annotated[float | None, Query()] = None
) -> Response:
    """Routing, three validated parameters, a constant body."""
    return Response(BODY, media_type="application/json")


class Yardstick(SQLModel):
    """Base of the tables below, separate from the service's own."""

    metadata = MetaData()


class Source(Yardstick, table=True):
    __tablename__ = "sources"
    id: str = Field(primary_key=True)
    title: str
    edition: str | None


class Spring(Yardstick, table=True):
    __tablename__ = "springs"
    id: str = Field(primary_key=True)
    name: str
    part_number: str | None
    kind: str


class Said(Yardstick):
    """The members of a fit, stored and answered alike."""

    id: str = Field(primary_key=True)
    travel_mm: float
    axle_to_crown_mm: str | None
    spacer: str | None
    spacer_limit: int | None
    spacers_fitted: int | None
    pressure_limit: str | None
    pressure_unit: str | None
    page: str | None


class Fit(Said, table=True):
    __tablename__ = "fits"
    chassis: str = Field(index=True)
    model_year_from: int | None
    model_year_to: int | None
    spring: str = Field(foreign_key="springs.id")
    source: str | None = Field(foreign_key="sources.id")
    spring_row: Spring = Relationship()
    source_row: Source | None = Relationship()


class FitOut(Said):
    """One line of the answer."""

    spring_row: Spring
    source_row: Source | None


class Fits(SQLModel):
    """The answer."""

    chassis: str
    fits: list[FitOut]


idiomatic = FastAPI()
engine = create_engine(
    f"sqlite:///{os.environ.get('YARDSTICK_DATABASE', '')}", connect_args={"check_same_thread": False}
)


def session() -> Any:
    """One session per request."""
    with Session(engine) as opened:
        yield opened


@idiomatic.get("/v1/chassis/{chassis}/fits", response_model=Fits)
def fits(
    chassis: str, opened: Annotated[Session, Depends(session)], model_year: Annotated[int, Query(ge=1900, le=2200)]
) -> Any:
    """The fits of a chassis in a model year, each with its spring and source, loaded on access."""
    wanted = select(Fit).where(
        Fit.chassis == chassis, Fit.model_year_from <= model_year, Fit.model_year_to >= model_year
    )
    found = opened.exec(wanted).all()
    if not found:
        raise HTTPException(404)
    return {"chassis": chassis, "fits": found}
