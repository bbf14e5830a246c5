"""Search results as plain text: each figure at the right, with its scope and source below it."""

from collections.abc import Callable, Iterator, Mapping

from app.web.representation import words
from app.web.representation.answer import Answer
from app.web.representation.text_lines import beside, closing, heading, title, wrapped


def search(answer: Answer, question: str) -> Iterator[str]:
    """The hits, best first."""
    yield from title("Search", answer)
    yield from _hits(answer, answer["hits"])


def start(answer: Answer, question: str) -> Iterator[str]:
    """The results of a search, or every fork."""
    yield from title(f"Search: {answer['q']}" if "q" in answer else words.title(question), answer)
    if "q" not in answer:
        yield from heading(f"Forks: {len(answer['found'])} of {answer['chassis_total']}")
    yield from _hits(answer, answer["found"])


def _hits(answer: Answer, hits: list[Answer]) -> Iterator[str]:
    if "text" in answer:
        yield from wrapped(answer["text"])
    for each in hits:
        yield from _hit(each)
    yield from closing(answer)


def _hit(each: Answer) -> Iterator[str]:
    name = f"{each['name']}: {each['of']}" if "of" in each else each["name"]
    yield from beside(f"  {name}", words.quantity_text(each["figure"]) if "figure" in each else "", "  ")
    about = ", ".join(text for text in (each.get("part_number", ""), each["detail"]) if text)
    if about:
        yield from wrapped(f"    {about}", "    ")
    if scope := words.scope_words(each.get("scope", {})):
        yield from wrapped(f"    applies to {scope}", "    ")
    for exception in each.get("exceptions", ()):
        yield from wrapped(f"    not for {words.scope_words(exception['scope'])}: see {exception['id']}", "    ")
    if "note" in each:
        yield from wrapped(f"    {each['note']}", "    ")
    source = f"{words.source_words(each['source'])}. " if "source" in each and "of" in each else ""
    yield from wrapped(f"    {source}{each['href']}", "    ")


LAYOUTS: Mapping[str, Callable[[Answer, str], Iterator[str]]] = {"search": search, "start": start}
