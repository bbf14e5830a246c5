"""The steps from a fork to a job card: which there are, which one a page is, and the addresses of the others."""

from typing import NamedTuple

from app.questions.job.parameters import JOB_WORDS, JobCardAsked
from app.questions.setup.parameters import SetupAsked
from app.questions.sheet.fits import FitsAsked
from app.questions.sheet.sheet import SheetAsked
from app.web.representation.address import Address, parameters_of
from app.web.representation.answer import Answer

WAY = (("fits", "Year and travel", FitsAsked), ("sheet", "Sheet", SheetAsked), ("setup", "Set-up", SetupAsked))
CARDS = ("job-card", "bench-view")
"""The pages of one job."""
QUESTIONS_OF_THE_WAY = ("fits", "sheet", "setup", *CARDS)
_CONFIGURATION = parameters_of(SetupAsked)


class GuidedStep(NamedTuple):
    """One step; `here` if the page is that step."""

    name: str
    href: str
    here: bool


class GuidedJob(NamedTuple):
    """A job that has a card, and the address of its figures alone."""

    words: str
    href: str
    figures: str


def chassis_of(question: str, answer: Answer) -> str | None:
    """The id of the fork that a page is about, if the page is one of the steps."""
    if question in QUESTIONS_OF_THE_WAY:
        return str(answer["chassis"]["id"])
    if question == "entry" and answer["table"] == "chassis":
        return str(answer["row"]["id"])
    return None


def way(question: str, chassis: str | None, address: Address) -> list[GuidedStep]:
    """The steps, each with the parameters known so far; none for a page that is not one of them."""
    if chassis is None:
        return []
    fork = f"/v1/chassis/{chassis}"
    steps = [GuidedStep("Fork", address.to(fork), question == "entry")]
    for name, words, model in WAY:
        href = address.to(f"{fork}/{name}", parameters_of(model), **_travel(question, address))
        steps.append(GuidedStep(words, href, question == name))
    job = address.changed(view=None) if question in CARDS else "#job"
    return [*steps, GuidedStep("Job card", job, question in CARDS)]


def jobs(question: str, chassis: str | None, address: Address) -> list[GuidedJob]:
    """A card for each job. A travel change still has to ask for the other travel."""
    if chassis is None or question in CARDS:
        return []
    path = f"/v1/chassis/{chassis}/job-card"
    carried = [name for name in _CONFIGURATION if name in parameters_of(JobCardAsked)]
    found = []
    for job, words in JOB_WORDS.items():
        names = carried
        more: dict[str, str] = {"job": job}
        if job == "travel-change":  # the present configuration is what the job changes from
            names = [name for name in carried if name not in ("travel", "spring", "spacers")]
            now = {name: address.get(name) or address.get(f"from_{name}") for name in ("travel", "spring", "spacers")}
            more |= {f"from_{name}": value for name, value in now.items() if value}
        hrefs = [address.to(path, names, **each) for each in (more, more | {"view": "bench"})]
        found.append(GuidedJob(words.partition(" ")[2], *hrefs))
    return found


def _travel(question: str, address: Address) -> dict[str, str]:
    """Lead from a job card back to the sheet: the travel after the job becomes the travel."""
    wanted = address.get("to_travel") or address.get("travel") or address.get("from_travel")
    return {"travel": wanted} if question in CARDS and wanted else {}
