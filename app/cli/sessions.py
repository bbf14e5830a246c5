"""`sessions list` and `sessions end`: browsers that are signed in. `audit`: what was done, by whom."""

from dataclasses import asdict
from typing import Annotated

import typer

from app.cli.opened import opened_shop
from app.cli.program import JsonOption, cli, say

sessions = typer.Typer(name="sessions", help="Browsers that are signed in.", no_args_is_help=True)
cli.add_typer(sessions)


@sessions.command("list")
def list_sessions(as_json: JsonOption = False) -> None:
    """All sessions that last, by an id that opens nothing and the public id of their key."""
    from tabulate import tabulate

    from app.access.sessions import listed

    found = [asdict(each) for each in listed(opened_shop())]
    say({"sessions": found}, as_json, tabulate(found, headers="keys") if found else "Nobody is signed in.")


@sessions.command("end")
def end_session(
    id: Annotated[str, typer.Argument(help="Id of a session, or the public id of a key for all of its sessions.")],
    as_json: JsonOption = False,
) -> None:
    """Sign a browser out, or all browsers of a key."""
    from app.access.sessions import end_listed

    count = end_listed(opened_shop(), id)
    say({"ended": count}, as_json, f"{count} ended.")


@cli.command()
def audit(
    most: Annotated[int, typer.Option(help="How many entries, the newest first.", min=1, max=100_000)] = 50,
    key: Annotated[str | None, typer.Option(help="Only those of the key with this public id.")] = None,
    as_json: JsonOption = False,
) -> None:
    """Show who wrote what and when: writes, keys made and revoked, sign-ins, and keys that were not valid."""
    from tabulate import tabulate

    from app.access.audit import entries
    from app.foreign import escaped

    found = [asdict(each) for each in entries(opened_shop(), most, key=key)]
    shown = [
        {name: escaped(value) if isinstance(value, str) else value for name, value in each.items()} for each in found
    ]
    say({"entries": found}, as_json, tabulate(shown, headers="keys") if shown else "The audit is empty.")
