"""The guided way from a fork to a job card: which steps there are, which one a page is, and where the others lie."""

from typing import NamedTuple

from app.questions.job.parameters import JOB_WORDS, JobCardAsked
from app.questions.setup.parameters import SetupAsked
from app.questions.sheet.fits import FitsAsked
from app.questions.sheet.sheet import SheetAsked
from app.web.representation.address import Address, parameters_of
from app.web.representation.answer import Answer

WAY = (("fits", "Year and travel", FitsAsked), ("sheet", "Sheet", SheetAsked), ("setup", "Set-up", SetupAsked))
QUESTIONS_OF_THE_WAY = ("fits", "sheet", "setup", "job-card")
_CONFIGURATION = parameters_of(SetupAsked)


class GuidedStep(NamedTuple):
    """One step of the way; `here` where the page is that step."""

    name: str
    href: str
    here: bool


class GuidedJob(NamedTuple):
    """A job that a card can be made for."""

    words: str
    href: str


def chassis_of(question: str, answer: Answer) -> str | None:
    """The id of the fork that a page is about, where it is on the way."""
    if question in QUESTIONS_OF_THE_WAY:
        return str(answer["chassis"]["id"])
    if question == "entry" and answer["table"] == "chassis":
        return str(answer["row"]["id"])
    return None


def way(question: str, chassis: str | None, address: Address) -> list[GuidedStep]:
    """The steps, each with what is known so far; none for a page that is not on the way."""
    if chassis is None:
        return []
    fork = f"/v1/chassis/{chassis}"
    steps = [GuidedStep("Fork", address.to(fork), question == "entry")]
    for name, words, model in WAY:
        href = address.to(f"{fork}/{name}", parameters_of(model), **_travel(question, address))
        steps.append(GuidedStep(words, href, question == name))
    job = address.changed() if question == "job-card" else "#job"
    return [*steps, GuidedStep("Job card", job, question == "job-card")]


def jobs(question: str, chassis: str | None, address: Address) -> list[GuidedJob]:
    """A card for each job; a change of travel still asks for the other end."""
    if chassis is None or question == "job-card":
        return []
    path = f"/v1/chassis/{chassis}/job-card"
    carried = [name for name in _CONFIGURATION if name in parameters_of(JobCardAsked)]
    found = []
    for job, words in JOB_WORDS.items():
        names = carried
        more: dict[str, str] = {"job": job}
        if job == "travel-change":  # what is in the fork is what it is changed from
            names = [name for name in carried if name not in ("travel", "spring", "spacers")]
            now = {name: address.get(name) or address.get(f"from_{name}") for name in ("travel", "spring", "spacers")}
            more |= {f"from_{name}": value for name, value in now.items() if value}
        found.append(GuidedJob(words.partition(" ")[2], address.to(path, names, **more)))
    return found


def _travel(question: str, address: Address) -> dict[str, str]:
    """From a job card back to the sheet: the travel it shall have is the travel."""
    wanted = address.get("to_travel") or address.get("travel") or address.get("from_travel")
    return {"travel": wanted} if question == "job-card" and wanted else {}
