"""The label for the leg as plain text: its lines as printed, then the cautions."""

from collections.abc import Iterator

from app.web.representation.answer import Answer
from app.web.representation.text_lines import closing


def label_text(answer: Answer, question: str) -> Iterator[str]:
    """One line per line of the label."""
    yield from answer["label"]
    yield ""
    yield from closing(answer)
