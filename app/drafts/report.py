"""Reads a file into a package: what it found, what it asks, and the rows it made of the rest."""

from collections.abc import Mapping
from pathlib import Path
from typing import NotRequired

from typing_extensions import TypedDict

from app.catalogue.rows import Rows
from app.drafts.child import read_grids
from app.drafts.derive import derive
from app.drafts.desk import Desk, Question
from app.drafts.rows import DerivedRows
from app.exchange.writer import write_rows
from app.foreign import escaped

MOST_SHOWN = 8


class QuestionView(TypedDict):
    """One open question."""

    question: str
    why: str
    answers: list[str]
    cells: list[str]


class RemarkView(TypedDict):
    """One thing to know."""

    text: str
    cell: NotRequired[str]


class ReadReport(TypedDict):
    """The result of a reading: rows by table, questions and remarks; `package` is the package that was written."""

    rows: dict[str, int]
    questions: list[QuestionView]
    remarks: list[RemarkView]
    package: NotRequired[str]


def read(path: Path, base: Rows, answers: Mapping[str, str]) -> tuple[DerivedRows, dict[str, Question]]:
    """The rows of a file and the open questions. Raises Invalid if the file cannot be read."""
    desk = Desk(answers)
    return derive(read_grids(path), base, desk), desk.questions


def write_package(rows: DerivedRows, path: Path) -> None:
    """Write the rows as a package. Raises Conflict if something is already there."""
    write_rows([each.row for each in rows.found.values()], path)


def report(rows: DerivedRows, questions: Mapping[str, Question]) -> ReadReport:
    """The report on a reading."""
    counts: dict[str, int] = {}
    for each in rows.found.values():
        counts[each.row.table] = counts.get(each.row.table, 0) + 1
    remarks = [
        RemarkView(text=each.text) if each.place is None else RemarkView(text=each.text, cell=each.place)
        for each in rows.desk.remarks
    ]
    asked = [
        QuestionView(question=each.key, why=each.why, answers=list(each.offers), cells=each.places)
        for each in questions.values()
    ]
    return ReadReport(rows=counts, questions=asked, remarks=remarks)


def as_text(report: ReadReport) -> str:
    """The report as lines for a person."""
    lines = []
    for each in report["questions"]:
        lines.append(f"question: {each['question']}: {each['why']}")
        if each["answers"]:
            lines.append(f"    answers: {' | '.join(each['answers'])}")
        if each["cells"]:
            more = ", …" if len(each["cells"]) > MOST_SHOWN else ""
            lines.append(f"    cells: {', '.join(each['cells'][:MOST_SHOWN])}{more}")
    lines += [f"{each['cell']}: {each['text']}" if "cell" in each else each["text"] for each in report["remarks"]]
    made = ", ".join(f"{count} {table}" for table, count in report["rows"].items()) or "none"
    lines.append(f"Rows: {made}. Open questions: {len(report['questions'])}.")
    if "package" in report:
        lines.append(f"Written to {report['package']}; legwork check says what loading it would change.")
    return escaped("\n".join(lines))
