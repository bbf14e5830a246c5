"""Builds plain text of at most 80 columns: headings, pairs, tables and paragraphs. Refuses control characters."""

import textwrap
import unicodedata
from collections.abc import Iterable, Iterator, Sequence

from tabulate import tabulate

from app.web.representation import outline, words
from app.web.representation.answer import Answer
from app.web.representation.outline import Grid, Items, Node, Pairs, WordList
from app.web.representation.sources import Sources

COLUMNS = 80
_NAMES = 26  # the widest name that has its value on the same line
_GUTTER = 2
_LEAST_ROOM = 30  # columns that words must have beside a figure
_STANDING = frozenset(("limits", "frame-limit", "not-in-the-catalogue", "computed", "manual-prevails", "qualified"))


def text_of(lines: Iterable[str]) -> str:
    """Join lines into one text: none wider than the page, no control characters, no double blank lines."""
    kept: list[str] = []
    for line in lines:
        clean = "".join(" " if unicodedata.category(letter) == "Cc" else letter for letter in line).rstrip()
        if clean or (kept and kept[-1]):
            kept += wrapped(clean, _indent_of(clean)) if len(clean) > COLUMNS else [clean]
    return "\n".join(kept).rstrip("\n") + "\n"


def any_answer(answer: Answer, question: str) -> Iterator[str]:
    """An answer as its outline."""
    yield from title(words.title(question), answer)
    yield from outline_lines(answer, "revision", "cautions", "undecided", "gaps")
    yield from closing(answer)


def title(said: str, answer: Answer) -> Iterator[str]:
    """The title line of a text, with the revision."""
    revision = f"revision {answer['revision']}" if "revision" in answer else ""
    room = COLUMNS - len(revision) - 2
    shown = said if len(said) <= room else said[: room - 1] + "…"
    yield f"{shown}{' ' * (COLUMNS - len(shown) - len(revision))}{revision}".rstrip()
    yield "=" * COLUMNS


def heading(said: str) -> Iterator[str]:
    """The heading of a section."""
    yield ""
    yield f"{said[: COLUMNS - 2]} {'-' * (COLUMNS - 1 - len(said))}"


def outline_lines(answer: Answer, *without: str) -> Iterator[str]:
    """The members of an answer except some, as an outline."""
    for section in outline.sections(answer, *without):
        if section.heading:
            yield from heading(section.heading)
        yield from node(section.node)


def closing(answer: Answer) -> Iterator[str]:
    """The end of every answer: open choices, gaps, cautions."""
    yield from undecided(answer)
    yield from gaps(answer)
    yield from cautions(answer)


def further(answer: Answer) -> Iterator[str]:
    """The address of the next page."""
    if "next" in answer:
        yield ""
        yield from wrapped(f"next: {answer['next']}", "  ")


def undecided(answer: Answer) -> Iterator[str]:
    """The parameters still to choose, with their values."""
    if answer.get("undecided"):
        yield from heading("To decide")
        for each in answer["undecided"]:
            values = ", ".join(value if value == said else f"{value} ({said})" for value, said in words.choices(each))
            values = values or f"as stamped; differs for {' or '.join(map(words.plain, each['values']))}"
            yield from wrapped(f"{each['parameter']}= {values}", "  ")


def gaps(answer: Answer) -> Iterator[str]:
    """What is missing in the catalogue."""
    if answer.get("gaps"):
        yield from heading("Not in the catalogue")
        for each in answer["gaps"]:
            about = f" ({each['about']})" if "about" in each else ""
            yield from wrapped(
                f"? {words.label(each['what'])}{about}: {each['text']} Needed: {each['why_needed']}.", "  "
            )


def invented(answer: Answer) -> Iterator[str]:
    """The first line of a text that rests on invented data."""
    for each in answer.get("cautions", ()):
        if each["code"] == "invented-data":
            yield from wrapped(f"/// {each['text']}", "    ")


def cautions(answer: Answer) -> Iterator[str]:
    """The cautions, except that data is invented, which is at the top already. Those that every answer has share a
    paragraph.
    """
    listed = [each for each in answer.get("cautions", ()) if each["code"] != "invented-data"]
    if listed:
        yield from heading("CAUTION")
        yield from caution_lines(listed)


def caution_lines(listed: Sequence[Answer]) -> Iterator[str]:
    """Cautions without a heading; the first line of a text says already that its data is invented."""
    for each in listed:
        if each["code"] not in {*_STANDING, "invented-data"}:
            yield from wrapped(f"! {each['text']}", "  ")
    if standing := " ".join(each["text"] for each in listed if each["code"] in _STANDING):
        yield from wrapped(f"! {standing}", "  ")


def node(outline_lines: Node, indent: str = "") -> Iterator[str]:
    """A part of an outline."""
    if isinstance(outline_lines, WordList):
        yield from wrapped(indent + outline_lines.text, indent)
    elif isinstance(outline_lines, Pairs):
        yield from _pairs(outline_lines, indent)
    elif isinstance(outline_lines, Grid):
        yield from _grid(outline_lines, indent)
    else:
        yield from _items(outline_lines, indent)


def _pairs(outline_lines: Pairs, indent: str) -> Iterator[str]:
    short = [len(name) for name, inner in outline_lines.rows if isinstance(inner, WordList)]
    width = min(max(short, default=0), _NAMES)
    for name, inner in outline_lines.rows:
        if isinstance(inner, WordList):
            yield from pair(name, inner.text, width, indent)
        else:
            yield f"{indent}{name}"
            yield from node(inner, indent + "  ")


def _items(outline_lines: Items, indent: str) -> Iterator[str]:
    for inner in outline_lines.items:
        lines = list(node(inner, indent + "  "))
        if lines:
            yield f"{indent}- {lines[0][len(indent) + 2 :]}"
            yield from lines[1:]


def _grid(outline_lines: Grid, indent: str) -> Iterator[str]:
    rows = [["" if cell is None else cell.text for cell in row] for row in outline_lines.rows]
    lines = table(outline_lines.columns, rows)
    if max(map(len, lines)) + len(indent) <= COLUMNS:
        yield from (indent + line for line in lines)
        return
    records = [
        Pairs([(name, cell) for name, cell in zip(outline_lines.columns, row, strict=True) if cell])
        for row in outline_lines.rows
    ]
    yield from _items(Items(records), indent)


def table(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Rows under their columns. Cells are not parsed: a part number of digits is not a number."""
    drawn = tabulate(rows, headers=list(columns), tablefmt="simple", disable_numparse=True)
    return [line.rstrip() for line in drawn.split("\n")]


def pair(name: str, value: str, width: int, indent: str = "") -> Iterator[str]:
    """A name and its value; a long value wraps below itself."""
    before = f"{indent}{name:<{width}}{' ' * _GUTTER}"
    yield from wrapped(before + value, " " * (len(indent) + width + _GUTTER))


def beside(left: str, right: str, indent: str = "") -> Iterator[str]:
    """A line with a figure at its right edge, or below if there is no room for both."""
    if len(left) + len(right) + 2 <= COLUMNS:
        yield f"{left}{' ' * (COLUMNS - len(left) - len(right))}{right}"
    else:
        yield from wrapped(left, indent)
        yield from wrapped(right.rjust(COLUMNS), indent)


def flowing(left: str, right: str, indent: str = "") -> Iterator[str]:
    """Words with a figure at the right edge of their first line; further lines have the whole width."""
    room = COLUMNS - len(right) - 2
    if not right:
        yield from wrapped(left, indent)
        return
    if len(left) <= room or room < _LEAST_ROOM:
        yield from beside(left, right, indent)
        return
    first = _first_line(left, room)
    yield from beside(first, right, indent)
    yield from wrapped(indent + left[len(first) :].strip(), indent)


def _first_line(text: str, room: int) -> str:
    """As much of a text as fits, up to the end of a part: the figure beside it must not stand within one."""
    ends = [text.rfind(mark, 0, room) for mark in (";", ":", ",")]
    end = next((end for end in ends if end > 0), -1)
    return text[: end + 1] if end > 0 else textwrap.wrap(text, room, break_on_hyphens=False)[0]


def cited(sources: Sources) -> Iterator[str]:
    """The list of documents that the marks of a text lead to."""
    if sources.listed:
        yield from heading("Sources")
        for each in sources.listed:
            kind = str(each.get("kind", ""))
            unsaid = {"page", "kind"} if kind in str(each["title"]) else {"page"}
            title = words.source_words({name: value for name, value in each.items() if name not in unsaid})
            again = "!" if words.edition_words(each) else " "
            yield from wrapped(f"  {sources.letter(each)}{again} {title}", "     ")


def wrapped(text: str, indent: str = "") -> list[str]:
    """Wrap a text to the page; a word that is wider than a line is broken."""
    if len(text) <= COLUMNS:
        return [text]
    deep = indent if len(indent) < COLUMNS // 2 else "  "
    lines = textwrap.wrap(
        text, COLUMNS, subsequent_indent=deep, break_on_hyphens=False, drop_whitespace=True, replace_whitespace=True
    )
    return lines or [""]


def _indent_of(line: str) -> str:
    return " " * (len(line) - len(line.lstrip()))


def problem_text(body: Answer) -> str:
    """A refusal: what is wrong and how to fix it."""
    lines = [*title(f"{body['status']} {body['title']}", {}), *wrapped(str(body["detail"]))]
    for each in body.get("errors", []):
        where = each.get("parameter") or each.get("pointer") or each["code"]
        lines += wrapped(f"- {where}: {each['text']}", "  ")
        if "suggestion" in each:
            lines += wrapped(f"  try: {each['suggestion']}", "  ")
    shown = ("type", "title", "status", "detail", "errors", "instance", "undecided")
    called = [each for each in body.get("undecided", []) if "names" in each]
    lines += undecided({"undecided": called})
    return text_of([*lines, *outline_lines(body, *shown)])
