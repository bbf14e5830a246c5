"""Turns a refusal for missing parameters into a page that asks for them, one per page, with the values still possible.

For programs it stays a refusal that names all of them. No page refuses before it has asked.
"""

from collections.abc import Mapping, Sequence
from typing import NamedTuple
from urllib.parse import urlencode

from app.web.representation import words
from app.web.representation.address import Address
from app.web.representation.answer import Answer

LACKING = frozenset(("undecided", "missing"))
"""Codes for parameters that were not given yet; nothing that was typed is wrong."""
ORDER = (
    "job", "chassis", "model_year", "variant", "serial", "wheel_size", "from_travel", "travel", "to_travel", "damper",
    "from_spring", "spring", "fitted_part", "spacers", "frame",
)  # fmt: skip
"""Order of questions: a travel often decides the spring, and a year the variant."""
QUESTIONS = {
    "job": ("Which job?", ""),
    "model_year": ("Which model year is it?", ""),
    "variant": ("Which variant is it?", "Compare the marks on crown, lowers and caps."),
    "serial": ("What is its serial number?", ""),
    "wheel_size": ("Which wheel is it ridden with?", "Read it off the tyre."),
    "from_travel": ("Which travel does it have now?", ""),
    "travel": ("Which travel does it have?", ""),
    "to_travel": ("Which travel should it have?", ""),
    "damper": ("Which damper is in it?", ""),
    "from_spring": ("Which spring is in it now?", "Its part number is on the shaft or the label."),
    "spring": ("Which spring is in it after the job?", ""),
    "fitted_part": ("Which of these parts is fitted?", ""),
    "spacers": ("How many volume spacers should be in it?", ""),
}
_HIDDEN = frozenset(("units", "revision", "as_of", "min_revision", "job", "format", "cite"))


class OpenQuestion(NamedTuple):
    """The next question: its parameter, its values with their names, and the questions after it."""

    parameter: str
    text: str
    hint: str
    choices: Sequence[tuple[str, str]]
    later: Sequence[str]
    unit: str
    is_typed: bool


def open_question(body: Answer, address: Address) -> OpenQuestion | None:
    """The first parameter that a refused request lacks; None if one that was given is wrong."""
    faults = body.get("errors", ())
    if not faults or any(fault["code"] not in LACKING or "parameter" not in fault for fault in faults):
        return None
    names = sorted({fault["parameter"] for fault in faults}, key=_place)
    first = names[0]
    listed = {each["parameter"]: each for each in body.get("undecided", ())}
    text, hint = QUESTIONS.get(first, (f"{words.heading(first)}?", ""))
    unit = "mm" if first.endswith("travel") else ""
    if first in listed:
        choices = _named(listed[first])
    else:
        choices = [(each, words.sentence(words.label(each))) for each in _closed(first, address)]
    is_typed = first == "serial" or (not choices and first not in listed)
    if first == "serial":
        said = next(fault["text"] for fault in faults if fault.get("parameter") == first)
        hint = words.sentence(said.removeprefix("Give serial: "))
    if not choices and not is_typed:
        hint = (
            f"Nothing else is listed for it: there is no other {words.label(first).removeprefix('to ')} to change to."
        )
    return OpenQuestion(first, text, hint, choices, [words.label(name) for name in names[1:]], unit, is_typed)


def onwards(question: OpenQuestion, address: Address) -> str | None:
    """The address to go on to without a question: an only choice is taken; a fork is chosen from the list of forks."""
    if len(question.choices) == 1:
        return address.changed(**{question.parameter: question.choices[0][0]})
    parts = address.path.split("/")
    if question.parameter == "chassis" and parts[-1] == "fork-check":
        return f"/?{urlencode({'door': 'frame', 'frame': parts[-2]})}"
    return None


def chosen(body: Answer, address: Address) -> list[tuple[str, str, str]]:
    """The choices so far: parameter, name of the value, and the address without it."""
    names: Mapping[str, str] = body.get("chosen", {})
    return [
        (name, names.get(name, f"{value} mm" if name.endswith("travel") and value.isdigit() else value),
         address.without(name, value))
        for name, value in address.pairs
        if name not in _HIDDEN and value
    ]  # fmt: skip


def _place(name: str) -> tuple[int, str]:
    return (ORDER.index(name) if name in ORDER else len(ORDER), name)


def _named(listed: Answer) -> list[tuple[str, str]]:
    if listed["parameter"] == "serial":
        return []  # its values are ranges
    values = listed["values"]
    return list(zip(values, listed.get("names", values), strict=True))


def _closed(name: str, address: Address) -> Sequence[str]:
    """The values of a parameter that is a closed list of words."""
    return next((field.choices for field in address.fields() if field.name == name), ())
