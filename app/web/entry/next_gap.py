"""The gaps of the page that a form was opened from, so that one entry can follow the other without going back."""

import re
import urllib.parse
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from pydantic import BaseModel, ValidationError
from starlette.types import Scope

from app.catalogue.rows import Snapshot
from app.errors import Refusal
from app.questions.job.job_card import job_card
from app.questions.job.parameters import JobCardAsked
from app.questions.setup.parameters import SetupAsked
from app.questions.setup.setup import setup
from app.questions.sheet.sheet import SheetAsked, sheet
from app.web.representation.address import Address, repeatable
from app.web.representation.entry_links import closings


class _Question(NamedTuple):
    parameters: type[BaseModel]
    answer: Callable[[Snapshot, str, Any], Any]


_QUESTIONS: Mapping[str, _Question] = {
    "sheet": _Question(SheetAsked, sheet), "setup": _Question(SetupAsked, setup),
    "job-card": _Question(JobCardAsked, job_card),
}  # fmt: skip
_PAGE = re.compile(r"/v1/chassis/([a-z0-9-]{1,80})/(sheet|setup|job-card)")


def gap_forms(snapshot: Snapshot, scope: Scope, page: str) -> list[str]:
    """The forms that close the gaps of a page of ours, in its order; none if the page has no answer."""
    path, _, query = page.partition("#")[0].partition("?")
    found = _PAGE.fullmatch(path)
    if found is None:
        return []
    chassis, question = found.groups()
    parameters, answer = _QUESTIONS[question]
    given = urllib.parse.parse_qs(query)
    several = repeatable(parameters)
    values = {
        name: texts if name in several else texts[0] for name, texts in given.items() if name in parameters.model_fields
    }
    try:
        shown = answer(snapshot, chassis, parameters.model_validate(values))
    except (Refusal, ValidationError):
        return []  # the page itself says what it lacks
    address = Address({**scope, "path": path, "query_string": query.encode("ascii")})
    return [href for href in closings(address, shown) if href is not None]
