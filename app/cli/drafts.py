"""`read`: turns the tables of a file into a package, and lists what only a reader of the page can say."""

import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from app.cli.opened import opened_if_there, settings_of, url_of
from app.cli.program import DatabaseOption, JsonOption, cli, say


@cli.command("read")
def read_file(
    file: Annotated[
        Path, typer.Argument(help="A workbook, a CSV file or a text; - is standard input.", show_default=False)
    ],
    package: Annotated[
        Path | None, typer.Argument(help="A new folder or .zip for the rows.", show_default=False)
    ] = None,
    answers: Annotated[
        Path | None, typer.Option(help="A CSV file of questions. Written if there is none, else its answers are used.")
    ] = None,
    chassis: Annotated[str | None, typer.Option(help="The id of the chassis that the tables are about.")] = None,
    source: Annotated[str | None, typer.Option(help="The id of the document that they come from.")] = None,
    page: Annotated[str | None, typer.Option(help="Its page.")] = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Turn printed tables into rows without guessing, and list the questions that are left."""
    from app.catalogue.catalogue import Catalogue
    from app.catalogue.rows import MemoryRows
    from app.drafts.answers import read_answers, write_answers
    from app.drafts.report import as_text, read, report, write_package

    given = read_answers(answers) if answers is not None and answers.exists() else {}
    given |= {key: text for key, text in (("chassis", chassis), ("source", source), ("page", page)) if text is not None}
    stored = opened_if_there(settings_of(database_url=url_of(database)))
    with _path_of(file) as path:
        if stored is None:
            rows, questions = read(path, MemoryRows(), given)
        else:
            with Catalogue(stored).snapshot() as snapshot:
                rows, questions = read(path, snapshot, given)
    answer = report(rows, questions)
    if answers is not None:
        write_answers(answers, given, questions)
    if package is not None and rows.found:
        write_package(rows, package)
        answer["package"] = str(package)
    say(dict(answer), as_json, as_text(answer))


@contextmanager
def _path_of(file: Path) -> Iterator[Path]:
    """The path of the file; standard input is kept in a temporary one."""
    if str(file) != "-":
        yield file
        return
    from app.drafts.delimited import MOST_TEXT

    with tempfile.TemporaryDirectory(prefix="legwork-read-") as folder:
        path = Path(folder) / "pasted.txt"
        path.write_bytes(sys.stdin.buffer.read(MOST_TEXT + 1))
        yield path
