"""`ask`, which queries a server or the local database, and `mirror`, which copies another service."""

import sys
from typing import Annotated

import typer

from app.cli.opened import opened, opened_if_there, settings_of, url_of
from app.cli.program import DatabaseOption, JsonOption, cli, say
from app.errors import Invalid, Unavailable


@cli.command()
def ask(
    path: Annotated[str, typer.Argument(help="The question, such as chassis/ID/fits.", show_default=False)],
    parameters: Annotated[
        list[str] | None, typer.Argument(help="name=value, such as travel=150.", show_default=False)
    ] = None,
    server: Annotated[str | None, typer.Option(help="The server to ask, such as http://localhost:8000.")] = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Look something up on a server or, by default, in the local database, and print the answer as text."""
    from app.cli.ask import ask_app, ask_server, read_parameters, silent

    given = read_parameters(parameters or [])
    media_type = "application/json" if as_json else "text/plain"
    if server is not None:
        response = ask_server(server, path, given, media_type)
    else:
        from app.catalogue.catalogue import Catalogue
        from app.main import create_app

        settings = settings_of(database_url=url_of(database), allowed_hosts=["localhost"])
        stored = opened_if_there(settings)
        if stored is None:
            raise Unavailable("there is no database here. Run legwork serve --demo, or use --server")
        response = ask_app(create_app(settings, Catalogue(stored), log_to=silent()), path, given, media_type)
    print(response.text.rstrip("\n"), file=sys.stdout if as_json or response.is_success else sys.stderr)
    if not response.is_success:
        raise typer.Exit(1)


@cli.command()
def mirror(
    url: Annotated[str, typer.Argument(help="Address of the service to copy, http or https.", show_default=False)],
    once: Annotated[bool, typer.Option("--once", help="Catch up, compare and exit.")] = False,
    every: Annotated[float, typer.Option(help="Seconds between checks for new revisions.", min=1.0)] = 10.0,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Keep a read-only copy of another catalogue, its history included, and compare content hashes."""
    import time

    from app.exchange.cells import ChangedCells, cells_as_text
    from app.exchange.mirror import follow, verify
    from app.exchange.origin import Origin, client_of

    if not url.startswith(("http://", "https://")):
        raise Invalid("the address of the origin must begin with http:// or https://")
    settings = settings_of(database_url=url_of(database))
    stored = opened(settings, bring_up=True)
    with client_of(url, settings.mirror_key) as client:

        def notify(number: int, cells: ChangedCells) -> None:
            if cells.counts["emptied"] and not as_json:
                print(f"revision {number} empties cells:", *cells_as_text(cells.listed(), cells.counts), sep="\n")

        if once:
            origin = Origin(client)
            number = follow(stored, origin, notify, compare=False)
            found = verify(stored, origin, number)
            say({"revision": number, "content_hash": found}, as_json, f"revision {number}, {found}")
            return
        origin = Origin(client, tries=None)
        last = -1
        while True:
            number = follow(stored, origin, notify)
            if number != last:
                say({"revision": number}, as_json, f"revision {number}")
                sys.stdout.flush()
            last = number
            time.sleep(every)
