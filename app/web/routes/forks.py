"""The bench log: the forks of one shop. Needs a key with the scope `bench`; another shop's fork is a 404."""

from collections.abc import Collection
from typing import Annotated, Any

from fastapi import Header, Path, Query, Request
from pydantic import Field, TypeAdapter
from starlette.responses import Response

from app.access.idempotency import IdempotentRequest
from app.access.keys import Caller
from app.bench import forks, services, work_orders
from app.bench.figures import configuration_view
from app.bench.forks import Held, Registering, fork_view
from app.bench.order_views import order_view
from app.bench.services import service_view
from app.catalogue.catalogue import PRESENT, Pin
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Source
from app.errors import PreconditionMissing
from app.json_types import JsonObject
from app.questions.answers.cautions import cautions
from app.questions.answers.cursors import Cursor
from app.questions.answers.parameters import Pinned
from app.questions.answers.views import Caution
from app.questions.job import bench_fork as on_the_bench
from app.questions.tables.listing import Paged
from app.web.access import admitted, in_shop, permitted, to_its_end
from app.web.contract.openapi import json_body
from app.web.edit_bodies import Empty, names_in
from app.web.forks import answers as answers
from app.web.forks.bodies import FORK_BODY, registering
from app.web.forks.in_question import PRIVATE, parameters_of
from app.web.reading.idempotency import REPLAYED, IdempotencyKey, keyed
from app.web.reading.json_body import read_model
from app.web.reading.strict import strict_router
from app.web.representation import respond
from app.web.representation.entity_tags import versions_in
from app.web.routes.tables import respond_page

router = strict_router(tags=["bench log"])

ForkId = Annotated[str, Path(description="Id of the fork, given at registration.")]
ForkIfMatch = Annotated[str | None, Header(description="The ETag of the fork as you read it.")]
ForkPinnedAsked = Annotated[Pinned, Query()]


class ForksAsked(Paged):
    """The parameters of the list of forks."""

    serial: str | None = Field(None, max_length=60, description="The fork of this serial.")
    chassis: str | None = Field(None, max_length=80, description="Forks of this chassis.")


class RecentAsked(Pinned):
    """The parameters of `recent-configurations`."""

    chassis: str | None = Field(None, max_length=80, description="Of this chassis only.")


async def respond_private(request: Request, answer: Any, shape: TypeAdapter[Any], name: str, **more: Any) -> Response:
    """An answer of the bench log, which is never cached."""
    return await respond(request, answer, shape, question=name, headers={**PRIVATE, **more.pop("headers", {})}, **more)


async def fork_cautions(request: Request, chassis: Collection[str], *codes: str) -> list[Caution]:
    """The cautions of an answer about forks of these chassis, including one for invented data."""
    found: Collection[Source] = await request.app.state.catalogue.ask(
        lambda snapshot: on_the_bench.sources(snapshot, chassis)
    )
    return cautions(*codes, sources=found)


@router.post(
    "/v1/forks",
    operation_id="registerFork",
    summary="Register a fork",
    response_model=None,
    openapi_extra=json_body(FORK_BODY, "Serial, chassis, and what is in it as far as known."),
    status_code=201,
    responses={201: {"model": answers.ForkAnswer, "description": "The fork with its secret id."}},
)
async def register_fork(request: Request, idempotency_key: IdempotencyKey = None) -> Response:
    """409 if the shop has already registered this serial; its id is the `suggestion`."""
    caller = await permitted(request, "bench")
    wanted = registering(await read_model(request, FORK_BODY))
    same = await keyed(request, caller.shop, idempotency_key)
    fork, again = await register(request, caller, wanted, same)
    headers = {"Location": f"/v1/forks/{fork.id}"} | (REPLAYED if again else {})
    return await _shown(request, fork, status=201, headers=headers)


async def register(
    request: Request, caller: Caller, wanted: Registering, same: IdempotentRequest | None = None
) -> tuple[Held, bool]:
    """Register a fork for the caller's shop; True if the same request registered it before.

    Raises Invalid with pointers, and Conflict for a serial that the shop already has.
    """
    await _known(request, wanted)
    return await to_its_end(lambda: forks.register(request.app.state.shop, caller.shop, wanted, same))


@router.get(
    "/v1/forks",
    operation_id="listForks",
    summary="The forks of this shop, newest first",
    response_model=None,
    responses={200: {"model": answers.ForkList, "description": "A page of forks."}},
)
async def list_forks(request: Request, asked: Annotated[ForksAsked, Query()]) -> Response:
    """Forks of the key's own shop; `serial=` finds one."""
    caller = await admitted(request, "bench")
    cursor = asked.read_cursor("forks", (str, str))
    after = None if cursor is None else (str(cursor.place[0]), str(cursor.place[1]))
    page = await in_shop(
        request,
        lambda shop: forks.listed(shop, caller.shop, asked.limit, after, serial=asked.serial, chassis=asked.chassis),
    )
    revision = await _revision(request, asked)
    found: JsonObject = {
        "revision": revision, "total": page.total, "forks": [fork_view(fork) for fork in page.forks],
        "cautions": await fork_cautions(request, {fork.chassis for fork in page.forks}),
    }  # fmt: skip
    if page.more:
        last = page.forks[-1]
        found["next"] = asked.write_cursor("forks", Cursor(revision, page.total, (last.registered_at, last.id)))
    return await respond_page(request, found, answers.FORK_LIST, question="forks", rows="forks", headers=PRIVATE)


@router.get(
    "/v1/forks/recent-configurations",
    operation_id="recentConfigurations",
    summary="Configurations this shop used last",
    response_model=None,
    responses={200: {"model": answers.RecentAnswer, "description": "Up to 20, the latest first; no fork is named."}},
)
async def recent_configurations(request: Request, asked: Annotated[RecentAsked, Query()]) -> Response:
    """Each with the number of forks that have it, as a start for a registration or a job card."""
    caller = await admitted(request, "bench")
    found = await in_shop(request, lambda shop: forks.recent(shop, caller.shop, asked.chassis))
    shown = [
        {
            "chassis": each.chassis, "configuration": configuration_view(each.configuration), "forks": each.forks,
            "changed_at": each.changed_at,
        }
        for each in found
    ]  # fmt: skip
    answer: JsonObject = {"revision": await _revision(request, asked), "configurations": shown}
    answer["cautions"] = await fork_cautions(request, {each.chassis for each in found}, "limits")
    return await respond_private(request, answer, answers.RECENT, "recent-configurations", rows="configurations")


@router.get(
    "/v1/forks/{id}",
    operation_id="getFork",
    summary="One fork and what is in it",
    response_model=None,
    responses={200: {"model": answers.ForkAnswer, "description": "The fork; its ETag is needed to change it."}},
)
async def get_fork(request: Request, id: ForkId, asked: ForkPinnedAsked) -> Response:
    """`unlisted` names parts of the fork that no document in the catalogue lists."""
    caller = await admitted(request, "bench")
    fork = await in_shop(request, lambda shop: forks.held(shop, caller.shop, id))
    return await _shown(request, fork, pin=asked.pin())


@router.put(
    "/v1/forks/{id}",
    operation_id="putFork",
    summary="Correct the record of a fork",
    response_model=None,
    openapi_extra=json_body(FORK_BODY, "The whole fork."),
    responses={200: {"model": answers.ForkAnswer, "description": "The fork as recorded now."}},
)
async def put_fork(request: Request, id: ForkId, if_match: ForkIfMatch = None, empty: Empty = None) -> Response:
    """428 without If-Match, 412 if the fork has changed since you read it. Finished jobs are services."""
    caller = await permitted(request, "bench")
    wanted = registering(await read_model(request, FORK_BODY))
    shop = request.app.state.shop
    await in_shop(request, lambda shop: forks.held(shop, caller.shop, id))
    if if_match is None:
        raise PreconditionMissing("send If-Match with the ETag of the fork")
    await _known(request, wanted)
    versions = versions_in(if_match)
    may_empty = names_in(empty)

    def write() -> Held:
        return forks.replace(shop, caller.shop, id, wanted, versions, may_empty)

    return await _shown(request, await to_its_end(write))


@router.delete(
    "/v1/forks/{id}",
    operation_id="eraseFork",
    summary="Erase a fork and its history",
    response_model=None,
    responses={200: {"model": answers.ErasedAnswer, "description": "No trace is left, not even in free pages."}},
)
async def erase_fork(request: Request, id: ForkId) -> Response:
    """Permanent. 503 if the database file could not be rewritten yet: the fork is hidden; send the request again."""
    caller = await permitted(request, "bench")
    await to_its_end(lambda: forks.erase(request.app.state.shop, caller.shop, id))
    text = "Erased. Erase earlier copies, such as backups and exports, yourself."
    answer = {"revision": await _revision(request), "erased": id, "text": text, "cautions": cautions()}
    return await respond_private(request, answer, answers.ERASED, "erased")


@router.get(
    "/v1/forks/{id}/export",
    operation_id="exportFork",
    summary="Everything recorded about one fork",
    response_model=None,
    responses={200: {"model": answers.ForkExport, "description": "The fork and every job on it."}},
)
async def export_fork(request: Request, id: ForkId, asked: ForkPinnedAsked) -> Response:
    """For the owner of the fork."""
    caller = await admitted(request, "bench")
    fork, done = await in_shop(request, lambda shop: services.history(shop, caller.shop, id))
    started = await in_shop(request, lambda shop: work_orders.of_fork(shop, caller.shop, id))
    answer = {
        "revision": await _revision(request, asked), "fork": fork_view(fork),
        "services": [service_view(each) for each in done],
        "work_orders": [order_view(each) for each in started], "cautions": await fork_cautions(request, {fork.chassis}),
    }  # fmt: skip
    return await respond_private(request, answer, answers.EXPORT, "fork-export")


async def _shown(
    request: Request, fork: Held, status: int = 200, headers: dict[str, str] | None = None, pin: Pin = PRESENT
) -> Response:
    known = parameters_of(fork.configuration, fork.serial)

    def held_against(snapshot: Snapshot) -> tuple[int, list[str]]:
        return snapshot.revision, on_the_bench.unlisted(snapshot, fork.chassis, known)

    revision, not_listed = await request.app.state.catalogue.ask(held_against, pin)
    here, chassis = f"/v1/forks/{fork.id}", f"/v1/chassis/{fork.chassis}"
    links = {name: f"{here}/{name}" for name in ("services", "due", "label", "export")}
    links |= {name: f"{chassis}/{name}?fork={fork.id}" for name in ("sheet", "setup")}
    answer = {
        "revision": revision, "fork": fork_view(fork), "unlisted": not_listed, "links": links,
        "cautions": await fork_cautions(request, {fork.chassis}, "limits", "not-in-the-catalogue"),
    }  # fmt: skip
    more = headers or {}
    return await respond_private(
        request, answer, answers.FORK, "fork", status=status, headers=more, version=fork.version
    )


async def _known(request: Request, wanted: Registering) -> None:
    """Check the configuration against the catalogue, and note the travel that the spring decides. Raises Invalid."""
    held = wanted.configuration

    def look(snapshot: Snapshot) -> None:
        on_the_bench.refuse_unknown(snapshot, wanted.chassis, held, (), "")
        if wanted.riding is not None:
            on_the_bench.refuse_riding(snapshot, wanted.chassis, wanted.riding)
        named = {name.removesuffix("_mm") for name in held}
        parameters = parameters_of(held, wanted.serial)
        travel_mm = on_the_bench.decided_travel(snapshot, wanted.chassis, parameters, named, "")
        if travel_mm is not None:
            held["travel_mm"] = travel_mm

    await request.app.state.catalogue.ask(look)


async def _revision(request: Request, asked: Pinned | None = None) -> int:
    pin = PRESENT if asked is None else asked.pin()
    revision: int = await request.app.state.catalogue.ask(lambda snapshot: snapshot.revision, pin)
    return revision
