"""The command itself, the options that several commands share, and how they speak."""

import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from app.errors import Refusal

if TYPE_CHECKING:
    from app.exchange.reports import PackageReport

WHO = "command line"

cli = typer.Typer(
    name="legwork",
    help="What to know before opening a fork, with scope and source.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

DatabaseOption = Annotated[
    str | None, typer.Option("--database", help="Path of a SQLite file or an URL; else LEGWORK_DATABASE_URL.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="Answer with one JSON object.")]
ReplaceOption = Annotated[bool, typer.Option("--replace", help="Withdraw what the package lacks.")]
PackageArgument = Annotated[Path, typer.Argument(help="A folder, a zip or one CSV file.", show_default=False)]


def main() -> NoReturn:
    """Run the command line; a refusal is one plain line and exit code 1."""
    try:
        cli()
    except Refusal as refusal:
        if "--json" in sys.argv:
            faults = [asdict(fault) for fault in refusal.faults]
            print(json.dumps({"refused": {"kind": type(refusal).__name__, "detail": refusal.detail, "faults": faults}}))
        else:
            print(refusal.detail, file=sys.stderr)
    sys.exit(1)


def say(answer: dict[str, Any], as_json: bool, text: str) -> None:
    """Print an answer as JSON or as this text."""
    print(json.dumps(answer, ensure_ascii=False) if as_json else text)


def print_report(report: "PackageReport", as_json: bool) -> None:
    """Print a report; exit code 1 where it refuses."""
    from app.exchange.reports import as_text

    say(dict(report), as_json, as_text(report))
    if not report["accepted"]:
        raise typer.Exit(1)
