"""The pages of a draft: its questions, findings and changes as numbered points, each with its cells of the table."""

import re
from collections.abc import Mapping, Sequence
from typing import Literal, NamedTuple

from app.catalogue.rows import Snapshot
from app.catalogue.tables import Torque
from app.drafts.desk import LEAVE_OUT
from app.drafts.shapes import SHAPES
from app.drafts.views import DraftAnswer, DraftFinding, DraftRowView, GridView
from app.errors import Fault
from app.questions.job.choices import JobChoice
from app.rules.finding import refuses
from app.rules.registry import RULES
from app.web.entry.choices import offered, resolved
from app.web.representation.words import heading

PointKind = Literal["wrong", "asked", "doubted", "changes", "none"]
MOST_POINTS = 120
"""Points on one page; the rest comes once these are settled."""
_O_AND_L = str.maketrans("OolI", "0011")
_LETTERS_IN_FIGURE = re.compile(r"(?=[OolI.,]*[0-9])[0-9OolI.,]+")
_OF_MEANING = re.compile(r"(?:shape of|heading|figures in the headings of|unit of) ")
_MOST_PRINTED = 200


class PagePoint(NamedTuple):
    """Something about a draft: a question (`key`), a finding in a row, a change of a stored row, a cell without a row.

    `cells` are the places it is about, `offers` the answers to tap. `cell` is the place to correct, `says` its text;
    `printed` is the column for the words of the page and those words, if the rules accept a figure that is printed so.
    """

    kind: PointKind
    number: int
    title: str
    text: str
    cells: tuple[str, ...] = ()
    key: str = ""
    offers: tuple[str, ...] = ()
    cell: str = ""
    says: str = ""
    printed: tuple[str, str] | None = None


class HeadingField(NamedTuple):
    """What a heading means, as a question: its key, the words above the column, what it is read as, and the choices."""

    key: str
    header: str
    read_as: str
    choices: Sequence[JobChoice]


def points_of(answer: DraftAnswer) -> list[PagePoint]:
    """The points of a draft: questions first, then findings, changes of stored rows, and cells that give no row."""
    says = cell_texts(answer)
    lines = line_texts(answer["grids"])
    found: list[PagePoint] = []
    for each in answer["questions"]:
        cells = tuple(each["cells"])
        known = next((cell for cell in cells if cell in says), "")
        offers = tuple(dict.fromkeys([*_meant(each["question"], says.get(known, "")), *each["answers"]]))
        found.append(
            PagePoint(
                "asked", 0, question_title(each["question"], says.get(known, "")), each["why"], cells,
                key=each["question"], offers=offers,
            )
        )  # fmt: skip
    for finding in answer["findings"]:
        found.append(_of_finding(finding, says, lines))
    for row in answer["rows"]:
        if row["effect"] in ("change", "withdraw"):
            found.append(_of_change(row))
    for remark in answer["remarks"]:
        cell = remark.get("cell", "")
        if "gives nothing" in remark["text"]:
            found.append(PagePoint("none", 0, "No entry", remark["text"], (cell,) if cell else ()))
    return [each._replace(number=number) for number, each in enumerate(found[:MOST_POINTS], 1)]


def cell_texts(answer: DraftAnswer) -> dict[str, str]:
    """The text of each cell by its place, word for word."""
    return {
        f"{grid['name']}!{letter}{line['number']}": text
        for grid in answer["grids"] for line in grid["lines"]
        for letter, text in zip(grid["letters"], line["cells"], strict=True)
    }  # fmt: skip


def line_texts(grids: Sequence[GridView]) -> dict[str, str]:
    """The whole line by the place of each of its cells: the words of the page."""
    texts: dict[str, str] = {}
    for grid in grids:
        for line in grid["lines"]:
            words = " ".join(text for text in line["cells"] if text)[:_MOST_PRINTED]
            texts |= {f"{grid['name']}!{letter}{line['number']}": words for letter in grid["letters"]}
    return texts


def question_title(key: str, cell: str) -> str:
    """A question in words: `value: 7/6` → `What does “7/6” mean?`."""
    name, colon, _ = key.partition(": ")
    if colon and cell:
        return f"What does “{cell}” mean? ({heading(name)})"
    return heading(key)


def _meant(key: str, text: str) -> list[str]:
    """The figure that a text means if its letters O and l are digits."""
    if ": " not in key or text.isascii() is False or not _LETTERS_IN_FIGURE.fullmatch(text):
        return []
    figure = text.translate(_O_AND_L)
    return [] if figure == text else [figure]


def _of_finding(finding: DraftFinding, says: Mapping[str, str], lines: Mapping[str, str]) -> PagePoint:
    cell = finding.get("cell", "")
    row = f"{finding.get('table', '')}/{finding.get('id', '')}"
    rule = RULES.get(finding["rule"])
    may_be_printed = rule is not None and rule.nature in ("implausible", "advice") and cell in lines
    printed = (f"{finding.get('table')}.as_printed", lines[cell]) if may_be_printed else None
    return PagePoint(
        "wrong" if refuses(finding) else "doubted", 0, finding["text"], f"{finding['fix']} ({row})",
        (cell,) if cell else (), cell=cell, says=says.get(cell, ""), printed=printed,
    )  # fmt: skip


def _of_change(row: DraftRowView) -> PagePoint:
    if row["effect"] == "withdraw":
        title, text = f"{row['table']}/{row['id']} is withdrawn", "It will no longer be in the catalogue."
    else:
        cells = [f"{each['column']} {each.get('was', 'empty')} → {each.get('now', 'empty')}" for each in row["changes"]]
        title, text = "; ".join(cells), f"Changes {row['table']}/{row['id']}."
    cell = row["places"][0] if row["places"] else ""
    return PagePoint("changes", 0, title, text, tuple(row["places"]), cell=cell)


def marks_of_cells(points: Sequence[PagePoint]) -> dict[str, PagePoint]:
    """The first point about each cell."""
    marks: dict[str, PagePoint] = {}
    for point in points:
        for cell in point.cells:
            marks.setdefault(cell, point)
    return marks


def headings_of(grid: GridView, questions: Sequence[str], answers: Mapping[str, str]) -> list[HeadingField]:
    """The headings of a table as fields: those that are read, and those that are asked about."""
    choices = [*_field_choices(grid), (LEAVE_OUT, "Leave it out")]
    found: dict[str, HeadingField] = {}
    for column in grid.get("columns", ()):
        key = f"heading {column['header']}"
        found[key] = HeadingField(key, column["header"], answers.get(key, column.get("field", "")), choices)
    header = {text for line in grid["lines"][:4] for text in line["cells"]}
    for key in [*questions, *answers]:
        if key.startswith("heading ") and key.removeprefix("heading ") in header:
            found.setdefault(key, HeadingField(key, key.removeprefix("heading "), answers.get(key, ""), choices))
    return list(found.values())


def headless_of(grid: GridView) -> list[HeadingField]:
    """The columns without a word in the line of the headings: each is named by correcting that empty cell."""
    line = next((line for line in grid["lines"] if any(line["cells"][1:])), None)
    if line is None:
        return []
    choices = _field_choices(grid)
    return [
        HeadingField(f"{grid['name']}!{letter}{line['number']}", letter, "", choices)
        for letter, text in zip(grid["letters"], line["cells"], strict=True) if not text
    ]  # fmt: skip


def _field_choices(grid: GridView) -> list[JobChoice]:
    """The fields of the shape of a table; those of all shapes while its shape is open."""
    shape = SHAPES.get(grid.get("shape", ""))
    fields = dict.fromkeys(each.name for known in ([shape] if shape else SHAPES.values()) for each in known.fields)
    return [(name, heading(name)) for name in fields]


def is_about_meaning(key: str) -> bool:
    """Whether a question is about what a table holds, and not about a cell."""
    return _OF_MEANING.match(key) is not None


def forks_and_sources(snapshot: Snapshot) -> tuple[list[JobChoice], list[JobChoice]]:
    """The forks and the sources by name; none if there are too many to list, and then the name is typed."""
    forks, sources = (offered(snapshot, Torque, Torque.columns()[name], {}) or [] for name in ("chassis", "source"))
    return forks, sources


def resolved_names(snapshot: Snapshot, answers: Mapping[str, str]) -> tuple[dict[str, str], list[Fault]]:
    """Answers in which forks and sources that were typed by name are ids, and the faults of those that are unknown."""
    found: dict[str, str] = {}
    faults: list[Fault] = []
    for key, text in answers.items():
        column = key.partition(" of ")[0]
        if column not in ("chassis", "source") or not text:
            found[key] = text
            continue
        row = resolved(snapshot, Torque.columns()[column], text)
        if isinstance(row, Fault):
            faults.append(Fault(row.code, f"“{text}”: {row.text}"))
        else:
            found[key] = row
    return found, faults
