"""Makes the pages of a draft, each for one step: paste, meaning, answers, second reader, load."""

import re
import secrets
from collections.abc import Mapping, Sequence

from fastapi import Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import Response

from app.access.keys import Caller
from app.drafts import kept
from app.drafts.kept import HeldDraft
from app.drafts.shapes import SHAPES
from app.drafts.views import DRAFT, DraftAnswer, DraftRowView
from app.errors import Fault, Refusal
from app.json_types import JsonObject
from app.web.access import in_shop
from app.web.draft_pages import (
    forks_and_sources,
    headings_of,
    headless_of,
    is_about_meaning,
    marks_of_cells,
    points_of,
)
from app.web.draft_requests import answer_of
from app.web.forks.in_question import PRIVATE
from app.web.problem import status_of
from app.web.representation.page import page
from app.web.representation.words import heading

NUMBERED = re.compile(r"(key|cell)\.([0-9]{1,3})")
"""The fields of a form that name a question or a cell."""


class DraftPageAsked(BaseModel):
    """Which table or row a page of a draft shows."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    grid: str | None = Field(None, max_length=140)
    after: int = Field(0, ge=0, le=100_000)


async def draft_page(
    request: Request, caller: Caller, draft: HeldDraft, step: str, typed: Mapping[str, str] | None = None,
    refusal: Refusal | None = None, asked: DraftPageAsked | None = None,
) -> Response:  # fmt: skip
    """A page of a draft, with what was typed if it was refused: the draft may have changed by then."""
    if refusal is not None:
        draft = await in_shop(request, lambda shop: kept.held(shop, caller.shop, draft.id))
    answer = await answer_of(request, draft)

    forks, sources = await request.app.state.catalogue.ask(forks_and_sources)
    asked = asked or DraftPageAsked()
    plain = DRAFT.dump_python(answer, mode="json")
    latest = plain.pop("revision")
    shown: JsonObject = {
        **plain, "latest": latest, "step": step, "typed": _typed(typed or {}),
        "others": _others(refusal), "may_read": caller.may("review") and caller.id not in draft.content["authors"],
        "may_edit": caller.may("edit"), "sent": (typed or {}).get("sent") or secrets.token_urlsafe(24),
        **_of_step(answer, step, asked), "forks": forks, "documents": sources,
    }  # fmt: skip
    return Response(
        page(f"draft-{step}", shown, request.scope), status_code=200 if refusal is None else status_of(refusal),
        headers={**PRIVATE, "Vary": "Cookie", "Content-Type": "text/html; charset=utf-8"},
    )  # fmt: skip


def _of_step(answer: DraftAnswer, step: str, asked: DraftPageAsked) -> JsonObject:
    """The members that only one of the pages shows."""
    grids = {each["name"]: each for each in answer["grids"]}
    grid = grids.get(asked.grid or "") or next(iter(answer["grids"]), None)
    questions = [each["question"] for each in answer["questions"]]
    points = [each for each in points_of(answer) if step != "meaning" or is_about_meaning(each.key)]
    headings = headings_of(grid, questions, answer["answers"]) if grid is not None else []
    known = {each.key for each in headings}
    if step == "meaning":  # the fields of the table itself are asked above
        points = [each for each in points if each.key not in known and not each.key.startswith("shape of ")]
    waiting = [row for row in answer["rows"] if row["effect"] != "same"]
    unread = [row for row in waiting if "tick" not in row]
    return {
        "grid": grid, "points": points, "marks": marks_of_cells(points), "headings": headings,
        "headless": [] if grid is None else headless_of(grid),
        "corrected": {each["cell"]: each["text"] for each in answer["corrections"] if "column" not in each},
        "shapes": [(name, heading(each.meaning)) for name, each in SHAPES.items()],
        "waiting": waiting, "read": [row for row in waiting if "tick" in row],
        "unread": unread, "next_row": _next(unread, asked.after), "after": asked.after,
    }  # fmt: skip


def _next(unread: Sequence[DraftRowView], after: int) -> DraftRowView | None:
    return unread[after % len(unread)] if unread else None


def _typed(filled: Mapping[str, str]) -> dict[str, str]:
    """What was typed, by the name of its field; answers and corrections by their question or cell."""
    typed = dict(filled)
    for name, value in filled.items():
        if (found := NUMBERED.fullmatch(name)) is not None:
            kind, number = found.groups()
            typed[f"{kind} {value}"] = filled.get(f"{'answer' if kind == 'key' else 'text'}.{number}", "")
    return typed


def _others(refusal: Refusal | None) -> list[str]:
    if refusal is None:
        return []
    faults: list[Fault] = refusal.faults
    return [each.text for each in faults] or [refusal.detail]
