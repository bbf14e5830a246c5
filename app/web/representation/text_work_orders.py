"""Work orders as text: whose fork it is, what was measured and decided, then the card with its ticks."""

from collections.abc import Callable, Iterator, Mapping

from app.web.representation import words
from app.web.representation.answer import Answer
from app.web.representation.text_bench import due_lines
from app.web.representation.text_card import job_card
from app.web.representation.text_lines import beside, closing, further, heading, pair, title, wrapped

_FIELDS = ("serial", "bike", "order_number", "promised", "done_by")
_STORED = ("id", "fork", "revision", "service", "opened_at", "changed_at")


def work_order(answer: Answer, question: str) -> Iterator[str]:
    """The head of the order, its entries, what is due next if it is recorded, and its card."""
    order = answer["order"]
    yield from title("Work order", answer)
    yield from _head(order)
    yield from wrapped(answer["since"]["text"])
    if "due" in answer:
        yield from heading("What is due next")
        yield from due_lines(answer["due"])
    yield from heading("Measured")
    for each in order["measurements"]:
        step = f"step {each['step']}: " if "step" in each else ""
        limit = [words.quantity_text(each[name]) for name in ("limit", "listed") if name in each][:1]
        yield from beside(f"  {step}{each['what']}", ", ".join([each.get("written", "____"), *limit]), "  ")
        if "verdict" in each:
            yield from beside("", each["verdict"], "  ")
    yield from heading("Parts")
    for each in order["parts"]:
        yield from beside(f"  {each['name']}", each.get("fate", "____"), "  ")
    yield ""
    yield from job_card(answer["card"], question, order["ticks"])
    yield from closing(answer)


def work_orders(answer: Answer, question: str) -> Iterator[str]:
    """The work orders of the shop, newest first."""
    yield from title("Work orders", answer)
    yield f"{answer['total']} {'work order' if answer['total'] == 1 else 'work orders'}, newest first."
    for each in answer["work_orders"]:
        yield from heading(f"{words.heading(each['job'])} {each['chassis']}")
        yield from _head(each)
    yield from further(answer)
    yield from closing(answer)


def _head(order: Answer) -> Iterator[str]:
    for name in (*_FIELDS, *_STORED):
        if name in order:
            yield from pair(words.label(name), words.plain(order[name]), 18, "  ")
    yield from pair("steps", f"{order['steps_done']} of {order['steps_total']}", 18, "  ")


LAYOUTS: Mapping[str, Callable[[Answer, str], Iterator[str]]] = {"work-order": work_order, "work-orders": work_orders}
