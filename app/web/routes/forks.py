"""The bench log: forks of the key's shop. Every route takes a key of scope `bench`; another shop's fork is a 404."""

import re
from typing import Annotated, Any

from fastapi import Header, Path, Query, Request
from pydantic import Field, TypeAdapter
from starlette.responses import Response

from app.access.keys import Caller
from app.bench import forks, services
from app.bench.figures import configuration_view
from app.bench.forks import Held, Registering, fork_view
from app.bench.services import service_view
from app.catalogue.catalogue import PRESENT, Pin
from app.catalogue.rows import Snapshot
from app.errors import PreconditionMissing
from app.questions.answers.cautions import cautions
from app.questions.answers.cursors import Cursor
from app.questions.answers.parameters import Pinned
from app.questions.job import bench_fork as on_the_bench
from app.questions.tables.listing import Paged
from app.web.access import admitted, in_shop, permitted, to_its_end
from app.web.contract.openapi import json_body
from app.web.forks import answers as answers
from app.web.forks.bodies import FORK_BODY, registering
from app.web.forks.in_question import PRIVATE, parameters_of
from app.web.reading.json_body import read_model
from app.web.reading.strict import strict_router
from app.web.representation import respond
from app.web.routes.tables import respond_page

router = strict_router(tags=["bench log"])

_TAG = re.compile(r'"r([0-9]{1,10})\.[^"]*"')

ForkId = Annotated[str, Path(description="Id of the fork, as it was given when it was registered.")]
ForkIfMatch = Annotated[str | None, Header(description="The ETag that the fork was read with.")]
ForkPinnedAsked = Annotated[Pinned, Query()]


class ForksAsked(Paged):
    """The parameters of the list of forks."""

    serial: str | None = Field(None, max_length=60, description="The fork of this serial.")
    chassis: str | None = Field(None, max_length=80, description="Forks of this chassis.")


class RecentAsked(Pinned):
    """The parameters of `recent-configurations`."""

    chassis: str | None = Field(None, max_length=80, description="Of this chassis only.")


async def respond_private(request: Request, answer: Any, shape: TypeAdapter[Any], name: str, **more: Any) -> Response:
    """An answer of the bench log, which is kept by nobody."""
    return await respond(request, answer, shape, question=name, headers={**PRIVATE, **more.pop("headers", {})}, **more)


@router.post(
    "/v1/forks",
    operation_id="registerFork",
    summary="Register a fork by its serial",
    response_model=None,
    openapi_extra=json_body(FORK_BODY, "The serial, the chassis, and what is in it as far as it is known."),
    status_code=201,
    responses={201: {"model": answers.ForkAnswer, "description": "The fork with its id, which nobody can guess."}},
)
async def register_fork(request: Request) -> Response:
    """409 for a serial that the shop has registered already: its id is the `suggestion`."""
    caller = await permitted(request, "bench")
    fork = await register(request, caller, registering(await read_model(request, FORK_BODY)))
    return await _shown(request, fork, status=201, headers={"Location": f"/v1/forks/{fork.id}"})


async def register(request: Request, caller: Caller, wanted: Registering) -> Held:
    """A new fork of the caller's shop. Raises Invalid with pointers, and Conflict for a serial that it has already."""
    await _known(request, wanted)
    return await to_its_end(lambda: forks.register(request.app.state.shop, caller.shop, wanted))


@router.get(
    "/v1/forks",
    operation_id="listForks",
    summary="The forks of this shop, newest first",
    response_model=None,
    responses={200: {"model": answers.ForkList, "description": "A page of forks."}},
)
async def list_forks(request: Request, asked: Annotated[ForksAsked, Query()]) -> Response:
    """Those of the key's own shop; `serial=` finds the one on the bench."""
    caller = await admitted(request, "bench")
    cursor = asked.read_cursor("forks", (str, str))
    after = None if cursor is None else (str(cursor.place[0]), str(cursor.place[1]))
    page = await in_shop(
        request,
        lambda shop: forks.listed(shop, caller.shop, asked.limit, after, serial=asked.serial, chassis=asked.chassis),
    )
    revision = await _revision(request, asked)
    found: dict[str, Any] = {
        "revision": revision, "total": page.total, "forks": [fork_view(fork) for fork in page.forks],
        "cautions": cautions(),
    }  # fmt: skip
    if page.more:
        last = page.forks[-1]
        found["next"] = asked.write_cursor("forks", Cursor(revision, page.total, (last.registered_at, last.id)))
    return await respond_page(request, found, answers.FORK_LIST, question="forks", rows="forks", headers=PRIVATE)


@router.get(
    "/v1/forks/recent-configurations",
    operation_id="recentConfigurations",
    summary='"As the last one": what forks of this shop were last given',
    response_model=None,
    responses={200: {"model": answers.RecentAnswer, "description": "At most 20, the last first; no fork is named."}},
)
async def recent_configurations(request: Request, asked: Annotated[RecentAsked, Query()]) -> Response:
    """Each with how many forks have it: what to begin a registration or a job card from."""
    caller = await admitted(request, "bench")
    found = await in_shop(request, lambda shop: forks.recent(shop, caller.shop, asked.chassis))
    shown = [
        {
            "chassis": each.chassis, "configuration": configuration_view(each.configuration), "forks": each.forks,
            "changed_at": each.changed_at,
        }
        for each in found
    ]  # fmt: skip
    answer = {"revision": await _revision(request, asked), "configurations": shown, "cautions": cautions("limits")}
    return await respond_private(request, answer, answers.RECENT, "recent-configurations", rows="configurations")


@router.get(
    "/v1/forks/{id}",
    operation_id="getFork",
    summary="One fork and what is in it at present",
    response_model=None,
    responses={200: {"model": answers.ForkAnswer, "description": "The fork; its ETag is wanted to change it."}},
)
async def get_fork(request: Request, id: ForkId, asked: ForkPinnedAsked) -> Response:
    """`unlisted` says what of it no document of the catalogue lists."""
    caller = await admitted(request, "bench")
    fork = await in_shop(request, lambda shop: forks.held(shop, caller.shop, id))
    return await _shown(request, fork, pin=asked.pin())


@router.put(
    "/v1/forks/{id}",
    operation_id="putFork",
    summary="Put right what is noted of a fork",
    response_model=None,
    openapi_extra=json_body(FORK_BODY, "The whole fork as it is."),
    responses={200: {"model": answers.ForkAnswer, "description": "The fork as it is noted now."}},
)
async def put_fork(request: Request, id: ForkId, if_match: ForkIfMatch = None) -> Response:
    """428 without If-Match, 412 where the fork has changed since it was read. A finished job is a service."""
    caller = await permitted(request, "bench")
    wanted = registering(await read_model(request, FORK_BODY))
    shop = request.app.state.shop
    await in_shop(request, lambda shop: forks.held(shop, caller.shop, id))
    if if_match is None:
        raise PreconditionMissing("send If-Match with the ETag that the fork was read with")
    await _known(request, wanted)
    versions = {int(number) for number in _TAG.findall(if_match)}
    return await _shown(request, await to_its_end(lambda: forks.replace(shop, caller.shop, id, wanted, versions)))


@router.delete(
    "/v1/forks/{id}",
    operation_id="eraseFork",
    summary="Erase a fork and all that was done to it",
    response_model=None,
    responses={200: {"model": answers.ErasedAnswer, "description": "Nothing of it is left, in free places either."}},
)
async def erase_fork(request: Request, id: ForkId) -> Response:
    """For ever. 503 where the file could not be written anew yet: it is hidden then; send the same again."""
    caller = await permitted(request, "bench")
    await to_its_end(lambda: forks.erase(request.app.state.shop, caller.shop, id))
    text = "Erased. Copies that were made before, such as backups and exports, are yours to erase."
    answer = {"revision": await _revision(request), "erased": id, "text": text, "cautions": cautions()}
    return await respond_private(request, answer, answers.ERASED, "erased")


@router.get(
    "/v1/forks/{id}/export",
    operation_id="exportFork",
    summary="All that is kept of one fork",
    response_model=None,
    responses={200: {"model": answers.ForkExport, "description": "The fork and every job on it."}},
)
async def export_fork(request: Request, id: ForkId, asked: ForkPinnedAsked) -> Response:
    """For whom the fork belongs to."""
    caller = await admitted(request, "bench")
    fork, done = await in_shop(request, lambda shop: services.history(shop, caller.shop, id))
    answer = {
        "revision": await _revision(request, asked), "fork": fork_view(fork),
        "services": [service_view(each) for each in done], "cautions": cautions(),
    }  # fmt: skip
    return await respond_private(request, answer, answers.EXPORT, "fork-export")


async def _shown(
    request: Request, fork: Held, status: int = 200, headers: dict[str, str] | None = None, pin: Pin = PRESENT
) -> Response:
    known = parameters_of(fork.configuration)

    def held_against(snapshot: Snapshot) -> tuple[int, list[str]]:
        return snapshot.revision, on_the_bench.unlisted(snapshot, fork.chassis, known)

    revision, not_listed = await request.app.state.catalogue.ask(held_against, pin)
    here, chassis = f"/v1/forks/{fork.id}", f"/v1/chassis/{fork.chassis}"
    links = {name: f"{here}/{name}" for name in ("services", "due", "label", "export")}
    links |= {name: f"{chassis}/{name}?fork={fork.id}" for name in ("sheet", "setup")}
    answer = {
        "revision": revision, "fork": fork_view(fork), "unlisted": not_listed, "links": links,
        "cautions": cautions("limits", "not-in-the-catalogue"),
    }  # fmt: skip
    more = headers or {}
    return await respond_private(
        request, answer, answers.FORK, "fork", status=status, headers=more, version=fork.version
    )


async def _known(request: Request, wanted: Registering) -> None:
    held: Any = wanted.configuration
    await request.app.state.catalogue.ask(
        lambda snapshot: on_the_bench.refuse_unknown(snapshot, wanted.chassis, held, (), "")
    )


async def _revision(request: Request, asked: Pinned | None = None) -> int:
    pin = PRESENT if asked is None else asked.pin()
    revision: int = await request.app.state.catalogue.ask(lambda snapshot: snapshot.revision, pin)
    return revision
