"""The command line, all of it under `legwork`. Thin calls, imported when called.

Exit codes: 0 done; 1 refused or not possible, with one plain line on standard error; 2 called wrongly. With `--json`
the answer is one JSON object on standard output; a refusal is `{"refused": {"kind", "detail", "faults"}}`.
"""

import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from app.errors import Invalid, Refusal, Unavailable
from app.settings import Settings

if TYPE_CHECKING:
    from app.database.connections import Database
    from app.exchange.reports import PackageReport

SEED_DATA = Path(__file__).parents[1] / "seed_data"
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


@cli.command()
def serve(
    host: Annotated[str | None, typer.Option(help="Address to listen on.")] = None,
    port: Annotated[int | None, typer.Option(help="Port to listen on; 0 takes a free one.", min=0, max=65535)] = None,
    database: DatabaseOption = None,
    demo: Annotated[bool, typer.Option("--demo", help="Load the demonstration data into an empty catalogue.")] = False,
) -> None:
    """Answer questions over HTTP; brings a SQLite database up to date first."""
    from app.catalogue.catalogue import Catalogue, latest
    from app.database.connections import Database
    from app.exchange.loading import Entry, load
    from app.main import create_app
    from app.web.server import run

    settings = _settings(host=host, port=port, database_url=_url(database))
    stored = Database(settings.database_url, settings.read_url)
    shop = Database(settings.shop_database_url)
    for each, which in ((stored, "catalogue"), (shop, "shop")):
        _make_current(each, which)
    if demo:
        with stored.read() as connection:
            empty = latest(connection) == 0
        if empty:
            report = load(stored, SEED_DATA, Entry("demonstration data", WHO))
            if not report["accepted"]:
                _told(report, as_json=False)
    run(settings, create_app(settings, Catalogue(stored), shop))


@cli.command()
def migrate(database: DatabaseOption = None, as_json: JsonOption = False) -> None:
    """Create the tables of both databases or bring them up to this build."""
    from app.database.migrating import head

    settings = _settings(database_url=_url(database))
    _opened(settings, bring_up=True).close()
    versions = {which: head(which) for which in ("catalogue", "shop")}
    _say(versions, as_json, ", ".join(f"{which} at {version}" for which, version in versions.items()))


@cli.command()
def load(
    package: PackageArgument,
    replace: ReplaceOption = False,
    reason: Annotated[str, typer.Option(help="Why; recorded with the revision.")] = "loaded a package",
    who: Annotated[str, typer.Option(hidden=True)] = WHO,
    idempotency_key: Annotated[str | None, typer.Option(hidden=True)] = None,
    digest: Annotated[str | None, typer.Option(hidden=True)] = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Merge a package into the catalogue, all or nothing."""
    from app.exchange.loading import Entry
    from app.exchange.loading import load as load_package
    from app.exchange.progress import shown

    stored = _opened(_settings(database_url=_url(database)))
    entry = Entry(reason, who, idempotency_key, digest)
    with shown() as progress:
        report = load_package(stored, package, entry, replace=replace, progress=progress)
    _told(report, as_json)


@cli.command()
def check(
    package: PackageArgument,
    replace: ReplaceOption = False,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say what a load would say, without storing anything; against an empty catalogue where there is none."""
    from app.catalogue.catalogue import Catalogue
    from app.exchange.loading import check as check_package
    from app.exchange.progress import shown

    stored = _opened_if_there(_settings(database_url=_url(database)))
    with shown() as progress:
        report = check_package(
            package, None if stored is None else Catalogue(stored), replace=replace, progress=progress
        )
    _told(report, as_json)


@cli.command()
def export(
    path: Annotated[Path, typer.Argument(help="A new folder, .zip or .sqlite file.", show_default=False)],
    revision: Annotated[int | None, typer.Option(help="As it was at this revision.", min=0)] = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write the catalogue as a package."""
    from app.catalogue.catalogue import Catalogue, Pin
    from app.exchange.progress import shown
    from app.exchange.sqlite_copy import copy
    from app.exchange.writer import export as write

    catalogue = Catalogue(_opened(_settings(database_url=_url(database))))
    if path.suffix == ".sqlite":
        with catalogue.at(Pin(revision)) as at:
            rows = copy(at, path)
            _say({"revision": at.revision, "rows": rows}, as_json, f"{rows} rows of revision {at.revision} in {path}")
        return
    with catalogue.at(Pin(revision)) as at, shown() as progress:
        written = 0

        def advance(count: int) -> None:
            nonlocal written
            written += count
            progress("rows written", written, 0)

        rows = write(at, at.revision, path, advance)
        _say({"revision": at.revision, "rows": rows}, as_json, f"{rows} rows of revision {at.revision} in {path}")


@cli.command()
def ask(
    path: Annotated[str, typer.Argument(help="What to ask, such as chassis/ID/fits.", show_default=False)],
    parameters: Annotated[
        list[str] | None, typer.Argument(help="name=value, such as travel=150.", show_default=False)
    ] = None,
    server: Annotated[str | None, typer.Option(help="Ask this server, such as http://localhost:8000.")] = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Ask a lookup of a server or, without one, of the local database; the same answer as on the wire, as text."""
    from app.web.ask import ask_app, ask_server, read_parameters, silent

    given = read_parameters(parameters or [])
    media_type = "application/json" if as_json else "text/plain"
    if server is not None:
        response = ask_server(server, path, given, media_type)
    else:
        from app.catalogue.catalogue import Catalogue
        from app.main import create_app

        settings = _settings(database_url=_url(database), allowed_hosts=["localhost"])
        stored = _opened_if_there(settings)
        if stored is None:
            raise Unavailable("there is no database here; run: legwork serve --demo, or give --server")
        response = ask_app(create_app(settings, Catalogue(stored), log_to=silent()), path, given, media_type)
    print(response.text.rstrip("\n"), file=sys.stdout if as_json or response.is_success else sys.stderr)
    if not response.is_success:
        raise typer.Exit(1)


@cli.command()
def template(
    directory: Annotated[Path, typer.Argument(help="A new or empty folder.", show_default=False)],
    as_json: JsonOption = False,
) -> None:
    """Write empty tables to fill in, and a descriptor that explains every column with an example."""
    from app.exchange.writer import template as write

    write(directory)
    _say({"written": str(directory)}, as_json, f"Fill in what you know of {directory}; see its datapackage.json.")


@cli.command("content-hash")
def hash_content(
    revision: Annotated[int | None, typer.Option(help="As it was at this revision.", min=0)] = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """One hash of all that holds: equal for equal catalogues, on any engine."""
    from app.catalogue.catalogue import Catalogue, Pin
    from app.exchange.content_hash import content_hash

    with Catalogue(_opened(_settings(database_url=_url(database)))).at(Pin(revision)) as at:
        found = content_hash(at)
        _say({"revision": at.revision, "content_hash": found}, as_json, f"{found}  revision {at.revision}")


@cli.command()
def mirror(
    url: Annotated[str, typer.Argument(help="Address of the service to copy, http or https.", show_default=False)],
    once: Annotated[bool, typer.Option("--once", help="Catch up, compare, and end.")] = False,
    every: Annotated[float, typer.Option(help="Seconds between two looks.", min=1.0)] = 10.0,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Keep a read-only copy of another catalogue, its history included, and compare content hashes."""
    import time

    from app.exchange.mirror import follow, verify
    from app.exchange.origin import Origin, client_of

    if not url.startswith(("http://", "https://")):
        raise Invalid("the address of the origin begins with http:// or https://")
    settings = _settings(database_url=_url(database))
    stored = _opened(settings, bring_up=True)
    with client_of(url, settings.mirror_key) as client:
        if once:
            origin = Origin(client)
            number = follow(stored, origin)
            found = verify(stored, origin, number)
            _say({"revision": number, "content_hash": found}, as_json, f"revision {number}, {found}")
            return
        origin = Origin(client, tries=None)
        last = -1
        while True:
            number = follow(stored, origin)
            if number != last:
                _say({"revision": number}, as_json, f"revision {number}")
                sys.stdout.flush()
            last = number
            time.sleep(every)


keys = typer.Typer(name="keys", help="Keys for those who write.", no_args_is_help=True)
cli.add_typer(keys)


@keys.command("add")
def add_key(
    label: Annotated[str, typer.Argument(help="Public label, recorded with every revision; no person's name.")],
    scope: Annotated[list[str], typer.Option(help="read, edit, bench or admin; may be given several times.")],
    shop: Annotated[
        str | None, typer.Option(help="Keys of one shop share its bench log; a key without one has its own.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Make a key. It is shown this once; only its hash is kept."""
    from app.access.keys import add

    made = add(_shop(), label, scope, of=shop)
    shown = {"id": made.id, "label": made.label, "scopes": made.scopes, "shop": made.shop, "key": made.token}
    _say(shown, as_json, str(made.token))


@keys.command("list")
def list_keys(as_json: JsonOption = False) -> None:
    """All keys by public id and label, the revoked ones too."""
    from tabulate import tabulate

    from app.access.keys import listed

    found = [
        {"id": key.id, "label": key.label, "scopes": " ".join(key.scopes), "shop": key.shop,
         "made": key.created_at, "revoked": key.revoked_at or ""}
        for key in listed(_shop())
    ]  # fmt: skip
    _say({"keys": found}, as_json, tabulate(found, headers="keys") if found else "There are no keys.")


@keys.command("revoke")
def revoke_key(id: Annotated[str, typer.Argument(help="Public id of the key.")], as_json: JsonOption = False) -> None:
    """Refuse a key from now on."""
    from app.access.keys import revoke

    revoke(_shop(), id)
    _say({"revoked": id}, as_json, f"{id} is refused from now on.")


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


def _settings(**given: Any) -> Settings:
    from pydantic import ValidationError

    try:
        return Settings(**{name: value for name, value in given.items() if value is not None})
    except ValidationError as wrong:
        first = wrong.errors()[0]
        name = "LEGWORK_" + "_".join(map(str, first["loc"])).upper()
        raise Unavailable(f"the setting {name} is wrong: {first['msg']}") from wrong


def _url(database: str | None) -> str | None:
    return database if database is None or "://" in database else f"sqlite:///{Path(database).absolute()}"


def _opened(settings: Settings, bring_up: bool = False) -> "Database":
    """The catalogue's database, its schema current; on SQLite, or where asked to, it is brought up to date."""
    from app.database.connections import Database
    from app.database.migrating import migrate as bring_up_to_date
    from app.database.migrating import state

    stored = Database(settings.database_url, settings.read_url)
    if stored.path is not None and stored.path.exists() and not bring_up:
        with stored.read() as connection:  # no lock taken: an export may not hinder a writer
            if state(connection, "catalogue") == "current":
                return stored
    if stored.is_sqlite or bring_up:
        bring_up_to_date(stored, "catalogue")
        shop = Database(settings.shop_database_url)
        bring_up_to_date(shop, "shop")
        shop.close()
        return stored
    _make_current(stored, "catalogue")
    return stored


def _make_current(database: "Database", which: str) -> None:
    """Bring a SQLite database up to this build; a shared one is only brought up by `legwork migrate`."""
    from app.database.migrating import migrate as bring_up_to_date
    from app.database.migrating import state

    if database.is_sqlite:
        bring_up_to_date(database, which)
        return
    with database.read() as connection:
        found = state(connection, which)
    if found != "current":
        raise Unavailable(f"the schema of the {which} database is {found}; run: legwork migrate")


def _shop() -> "Database":
    """The shop database, brought up to date."""
    from app.database.connections import Database
    from app.database.migrating import migrate as bring_up_to_date

    shop = Database(_settings().shop_database_url)
    bring_up_to_date(shop, "shop")
    return shop


def _opened_if_there(settings: Settings) -> "Database | None":
    """The catalogue's database where there is one; nothing is created."""
    from app.database.connections import Database

    stored = Database(settings.database_url, settings.read_url)
    return None if stored.path is not None and not stored.path.exists() else stored


def _say(answer: dict[str, Any], as_json: bool, text: str) -> None:
    print(json.dumps(answer, ensure_ascii=False) if as_json else text)


def _told(report: "PackageReport", as_json: bool) -> None:
    """Print a report; exit code 1 where it refuses."""
    from app.exchange.reports import as_text

    _say(dict(report), as_json, as_text(report))
    if not report["accepted"]:
        raise typer.Exit(1)
