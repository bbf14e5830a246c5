"""Questions, answers and remarks of one reading. A question is asked once for each distinct text."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

LEAVE_OUT = "-"
"""The answer that leaves out what a question is about."""
MOST_PLACES = 20


@dataclass(slots=True)
class Question:
    """A question the file cannot settle. `key` identifies it in the answers; `places` are the cells it is about."""

    key: str
    why: str
    offers: tuple[str, ...] = ()
    places: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Remark:
    """Something to know that needs no answer, such as a cell that gives no figure."""

    text: str
    place: str | None = None


class Desk:
    """Takes questions and remarks, and knows the answers."""

    def __init__(self, answers: Mapping[str, str]) -> None:
        self.answers = {key: answer for key, answer in answers.items() if answer}
        self.questions: dict[str, Question] = {}
        self._remarks: dict[Remark, None] = {}

    def answer(self, key: str, why: str, offers: Iterable[str] = (), place: str | None = None) -> str | None:
        """The answer to a question; None if it is open, and then it is asked."""
        if key in self.answers:
            return self.answers[key]
        question = self.questions.setdefault(key, Question(key, why, tuple(offers)))
        if place is not None and place not in question.places and len(question.places) < MOST_PLACES:
            question.places.append(place)
        return None

    def refuse(self, key: str, why: str, offers: Iterable[str] = (), place: str | None = None) -> None:
        """Ask again, because the answer that was given cannot be used."""
        given = self.answers.pop(key, None)
        self.answer(key, why if given is None else f"the answer “{given}” cannot be used: {why}", offers, place)

    def remark(self, text: str, place: str | None = None) -> None:
        """Say something, once."""
        self._remarks[Remark(text, place)] = None

    @property
    def remarks(self) -> list[Remark]:
        """Everything that was said, in order."""
        return list(self._remarks)
