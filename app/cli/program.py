"""The command itself, the options that several commands share, and how commands print answers and errors."""

import json
import os
import sys
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from app.errors import Refusal
from app.foreign import escaped
from app.json_types import JsonObject

if TYPE_CHECKING:
    from app.exchange.reports import PackageReport

WHO = "command line"

cli = typer.Typer(
    name="legwork",
    help="Everything a suspension mechanic needs to know before opening a fork.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

DatabaseOption = Annotated[
    str | None, typer.Option("--database", help="Path of a SQLite file, or a URL. Default: LEGWORK_DATABASE_URL.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object.")]
ReplaceOption = Annotated[bool, typer.Option("--replace", help="Withdraw rows that the package does not have.")]
OrdersOption = Annotated[
    bool, typer.Option("--orders/--no-orders", help="Add the common orders of work to a first package that has none.")
]
PackageArgument = Annotated[
    Path, typer.Argument(help="A folder, a zip file, one CSV file or a workbook.", show_default=False)
]


def main() -> NoReturn:
    """Run the command line. A refusal, or an error of the system or a database, is one plain line and exit code 1."""
    code: str | int | None = 1
    try:
        try:
            cli()
        except SystemExit as ended:
            code = ended.code
        sys.stdout.flush()  # here, as an error while Python ends would be a traceback
    except Refusal as refusal:
        _complain(type(refusal).__name__, refusal.detail, [asdict(fault) for fault in refusal.faults])
    except BrokenPipeError:  # the reader has stopped, such as `head`
        code = 1
        _drop_output()
    except Exception as error:
        if (said := _plain(error)) is None:
            raise
        code = 1
        if isinstance(error, OSError) and error.filename is None:  # the output itself
            _drop_output()
            print(said, file=sys.stderr)
        else:
            _complain("Unavailable", said, [])
    sys.exit(code)


def _complain(kind: str, detail: str, faults: list[dict[str, object]]) -> None:
    if "--json" in sys.argv:
        with suppress(OSError):
            print(json.dumps({"refused": {"kind": kind, "detail": detail, "faults": faults}}), flush=True)
            return
    print(escaped(detail), file=sys.stderr)


def _plain(error: Exception) -> str | None:
    """One sentence for an error of the system or a database; None for anything else, which is a bug."""
    if isinstance(error, OSError) and error.strerror:
        names = [str(name) for name in (error.filename, error.filename2) if name is not None]
        return f"{' and '.join(names) or 'the output'}: {error.strerror}"
    if type(error).__module__.startswith("sqlalchemy."):
        return f"the database cannot be used: {str(getattr(error, 'orig', None) or error).splitlines()[0]}"
    return None


def _drop_output() -> None:
    """Discard pending output, so that Python does not try to write it again at exit."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def say(answer: JsonObject, as_json: bool, text: str) -> None:
    """Print an answer as JSON or as `text`."""
    print(json.dumps(answer, ensure_ascii=False) if as_json else text)


def print_report(report: "PackageReport", as_json: bool) -> None:
    """Print a report; exit code 1 if it refuses the package."""
    from app.exchange.reports import as_text

    say(dict(report), as_json, as_text(report))
    if not report["accepted"]:
        raise typer.Exit(1)
