"""The file of questions and answers, one line each. A spreadsheet can edit it, and no answer is lost from it."""

import csv
import io
import os
from collections.abc import Mapping
from pathlib import Path

from app.drafts.child import read_grids
from app.drafts.desk import Question
from app.errors import Invalid

HEADER = ("question", "answer", "why it is asked", "possible answers", "cells")


def read_answers(path: Path) -> dict[str, str]:
    """The answers by question, also the empty ones. Raises Invalid if the file is not one of questions."""
    rows = [[cell.text for cell in row] for grid in read_grids(path).grids[:1] for row in grid.rows]
    if path.suffix.lower() != ".csv" or rows[0][:2] != list(HEADER[:2]):
        why = "the answers are a CSV file whose first line begins with question and answer"
        raise Invalid.one("file-unreadable", f"{path.name}: {why}")
    return {row[0]: row[1] for row in rows[1:] if row[0]}


def write_answers(path: Path, answers: Mapping[str, str], questions: Mapping[str, Question]) -> None:
    """Write the open questions, and below them everything that was answered. The file is replaced as a whole."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(HEADER)
    for question in questions.values():
        writer.writerow((question.key, "", question.why, " | ".join(question.offers), " ".join(question.places)))
    writer.writerows((key, answer, "", "", "") for key, answer in answers.items() if answer and key not in questions)
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    beside.write_bytes(text.getvalue().encode("utf-8-sig"))
    beside.replace(path)
