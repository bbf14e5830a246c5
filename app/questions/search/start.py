"""The start page: every fork by maker, or what a search finds."""

from typing import Literal, NotRequired

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.catalogue import lists
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Chassis
from app.errors import Invalid
from app.questions.answers.cautions import cautions
from app.questions.answers.parameters import LookupParameters
from app.questions.answers.views import Caution
from app.questions.search.find import FindAsked, find
from app.questions.search.hits import SearchHit, row_hits
from app.questions.tables.listing import Q_MOST, sources_of

MOST_FORKS = 60


class StartAsked(LookupParameters):
    """The parameters of the start page."""

    q: str | None = Field(
        None,
        max_length=Q_MOST,
        description="A fork and a place, oil or limit, or a name or number. Typing slips are found.",
    )
    door: Literal["service", "travel", "rider", "frame"] | None = Field(
        None, description="The task you need the fork for: links on the page lead there. The answer is the same."
    )
    frame: str | None = Field(None, max_length=80, description="Id of the frame that the fork is for.")


class StartAnswer(TypedDict):
    """With `q` the search results, best first; without it the forks. `identify` helps with an unknown fork."""

    revision: int
    q: NotRequired[str]
    found: list[SearchHit]
    not_found: NotRequired[list[str]]
    text: NotRequired[str]
    chassis_total: int
    identify: str
    cautions: list[Caution]


START = TypeAdapter(StartAnswer)


def start(snapshot: Snapshot, asked: StartAsked) -> StartAnswer:
    """The answer at one revision. Raises Invalid for a blank `q`."""
    if asked.q is not None and not asked.q.strip():
        raise Invalid.one("empty", "`q` has no value; leave it out to start with the forks.", parameter="q")
    total = lists.count(snapshot, Chassis, {})
    if asked.q is not None:
        answer = find(snapshot, FindAsked(**asked.model_dump(exclude={"door", "frame"})))
        found: StartAnswer = {
            "revision": snapshot.revision, "q": asked.q, "found": answer["hits"], "not_found": answer["not_found"],
            "chassis_total": total, "identify": "/v1/identify", "cautions": answer["cautions"],
        }  # fmt: skip
        if "text" in answer:
            found["text"] = answer["text"]
        return found
    forks = lists.page(snapshot, Chassis, {}, None, MOST_FORKS)
    return {
        "revision": snapshot.revision,
        "found": row_hits(snapshot, [(fork, 1.0) for fork in forks]),
        "chassis_total": total,
        "identify": "/v1/identify",
        "cautions": cautions(sources=sources_of(snapshot, forks)),
    }
