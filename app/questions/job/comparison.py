"""A job card that was kept, compared with the card that the same question gives at another revision."""

from collections.abc import Mapping
from typing import Literal

from pydantic import TypeAdapter
from typing_extensions import TypedDict

from app.catalogue.rows import Snapshot
from app.errors import Refusal
from app.json_types import JsonObject
from app.questions.job.job_card import JOB_CARD, job_card
from app.questions.job.parameters import JobCardAsked

_WORDS = {
    "procedure": "the order of work", "fit": "the spring", "parts": "parts", "tools": "tools", "frame": "the frame",
    "consumables": "oils and greases", "settings": "the set-up", "checks": "the final checks",
    "not_done": "what is not done on this fork",
}  # fmt: skip
"""The members of a card that are compared besides its steps, in the words of a mechanic."""


class CardComparison(TypedDict):
    """Whether the catalogue would now give the same card.

    `state` is `no card` if it now gives none, and `text` says why. `steps` are the numbers of the kept card's steps
    that would differ or be gone; `others` names what else would differ.
    """

    state: Literal["same", "changed", "no card"]
    revision: int
    steps: list[int]
    others: list[str]
    text: str


def compared(snapshot: Snapshot, chassis: str, asked: JsonObject, kept: JsonObject) -> CardComparison:
    """The kept card, which is JSON, compared with the card at a revision. `asked` are the parameters of the card."""
    revision = snapshot.revision
    if revision == kept["revision"]:
        return {"state": "same", "revision": revision, "steps": [], "others": [], "text": _same(revision)}
    try:
        now = JOB_CARD.dump_python(job_card(snapshot, chassis, _ASKED.validate_python(asked)), mode="json")
    except Refusal as refusal:
        text = f"At revision {revision} of the catalogue there is no such card any more: {refusal.detail}"
        return {"state": "no card", "revision": revision, "steps": [], "others": [], "text": text}
    steps = _steps(kept, now)
    others = [words for member, words in _WORDS.items() if kept.get(member) != now.get(member)]
    if _order(kept) != _order(now) and _WORDS["procedure"] not in others:
        others.insert(0, _WORDS["procedure"])
    if not steps and not others:
        return {"state": "same", "revision": revision, "steps": [], "others": [], "text": _same(revision)}
    named = [f"step{'' if len(steps) == 1 else 's'} {', '.join(map(str, steps))}"] if steps else []
    text = (
        f"The catalogue has changed since this card was made: revision {kept['revision']}, now {revision}. "
        f"Different now: {'; '.join([*named, *others])}. This order keeps its card; compare it with the new one."
    )
    return {"state": "changed", "revision": revision, "steps": steps, "others": others, "text": text}


def _same(revision: int) -> str:
    return f"Revision {revision} of the catalogue gives the same card."


def _steps(kept: JsonObject, now: JsonObject) -> list[int]:
    there = {step["step"]: _content(step) for step in now["steps"]}
    return [step["number"] for step in kept["steps"] if there.get(step["step"]) != _content(step)]


def _content(step: Mapping[str, object]) -> dict[str, object]:
    return {name: value for name, value in step.items() if name != "number"}


def _order(card: JsonObject) -> list[str]:
    return [step["step"] for step in card["steps"]]


_ASKED = TypeAdapter(JobCardAsked)
