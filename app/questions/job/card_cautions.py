"""The cautions of a card, each once: three lines at the top, the others at the step that needs them or at the end."""

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Literal

from app.catalogue.tables import Source
from app.questions.answers.cautions import BEFORE_OPENING, caution, cautions
from app.questions.answers.views import Caution
from app.questions.job.plan import Plan
from app.questions.job.steps import Step_
from app.questions.job.views import CardCaution

TOP_LINES = 3
URGENT = ("over-rider-mass-limit", "over-pressure-limit", "over-spacer-limit", "bases-disagree", "serial-unread")
FIRST = ("pressure-before-opening", "manual-prevails", "qualified", "damaged-parts")
_OF_AIR = ("pressure-before-opening", "trapped-gas", "cap-under-pressure", "shock-pump-only")
_COVERED: Mapping[str, re.Pattern[str]] = {
    "eye-protection": re.compile(r"eye protection"),
    "trapped-gas": re.compile(r"trapped gas"),
    "cap-under-pressure": re.compile(r"never turn\b.*\bcap|\bcap is never turned"),
    "damaged-parts": re.compile(r"out of use|\bscrap\b"),
    "brakes-clean": re.compile(r"\b(pads?|rotor)\b"),
    "shock-pump-only": re.compile(r"shock pump only"),
    "limits": re.compile(r"exceed no\b|stay within\b"),
    "manual-prevails": re.compile(r"manual prevails"),
    "qualified": re.compile(r"\bqualified\b"),
}
"""Matches the text of a step that already contains a standing caution."""


def at_steps(steps: Sequence[Step_]) -> list[CardCaution]:
    """The cautions of the steps; a caution that an earlier step has already given is removed from later ones."""
    found: dict[str, CardCaution] = {}
    for step in steps:
        first: list[Caution] = []
        for each in step.shown["cautions"]:
            if each["text"] not in found:
                first.append(each)
                found[each["text"]] = {
                    "code": _code(each), "text": each["text"], "place": "step", "steps": [step.shown["number"]],
                }  # fmt: skip
        step.shown["cautions"] = first
    return list(found.values())


def _code(each: Caution) -> str:
    words = each["text"].lower()
    return next((code for code, covered in _COVERED.items() if covered.search(words)), each["code"])


def card_cautions(
    plan: Plan, at_step: Sequence[CardCaution], sources: Iterable[Source], frame: bool
) -> list[CardCaution]:
    """Every caution of the card in the order it is shown: top, steps, end.

    The notice about invented data comes before the three lines. An exceeded limit takes one of them first.
    """
    air = plan.spring is None or plan.spring.kind == "air"
    codes = [*BEFORE_OPENING, "shock-pump-only", "limits"]
    codes += ["frame-limit"] if plan.job == "travel-change" or frame else []
    codes += [each["code"] for each in plan.setup["cautions"]] + ["not-in-the-catalogue"]
    codes += ["serial-unread"] if plan.serial_unread else []
    covered = {each["code"] for each in at_step}
    wanted = [
        each["code"]
        for each in cautions(*dict.fromkeys(codes), sources=sources)
        if each["code"] not in covered and (air or each["code"] not in _OF_AIR)
    ]
    urgent = [code for code in URGENT if code in wanted]
    usual = [code for code in FIRST if code in wanted]
    lines = [*urgent, *usual][: max(TOP_LINES, len(urgent))]
    notice = [code for code in ("invented-data",) if code in wanted]
    end = [code for code in wanted if code not in (*notice, *lines)]
    return [*_placed((*notice, *lines), "top"), *at_step, *_placed(end, "end")]


def _placed(codes: Iterable[str], place: Literal["top", "end"]) -> list[CardCaution]:
    return [{"code": code, "text": caution(code)["text"], "place": place} for code in codes]
