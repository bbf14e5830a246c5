"""Renders an answer as plain text for a terminal or printer: at most 80 columns, no escape codes, aligned figures.

Fits, sheet, set-up, job card and label have layouts of their own; every other answer is shown by its outline.
"""

from app.web.representation import text_bench, text_catalogue, text_search, text_work_orders
from app.web.representation.answer import Answer
from app.web.representation.kinds import Answered, Representation, register
from app.web.representation.text_label import label_text
from app.web.representation.text_layouts import LAYOUTS
from app.web.representation.text_lines import any_answer, invented, text_of


def render(answered: Answered) -> bytes:
    """The text in UTF-8, ending with a line break."""
    return text(answered.question, answered.shape.dump_python(answered.answer, mode="json")).encode()


def text(question: str, answer: Answer) -> str:
    """The text for the JSON form of an answer."""
    layouts = {
        **LAYOUTS, **text_bench.LAYOUTS, **text_catalogue.LAYOUTS, **text_search.LAYOUTS, "label": label_text,
        **text_work_orders.LAYOUTS,
    }  # fmt: skip
    return text_of([*invented(answer), *layouts.get(question, any_answer)(answer, question)])


register(Representation(media_type="text/plain", suffix="txt", render=render, can=lambda answered: True))
