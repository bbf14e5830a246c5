"""Packages in and out: `load`, `check`, `orders`, `export`, `template`, and `content-hash`, which compares two."""

from pathlib import Path
from typing import Annotated

import typer

from app.cli.opened import opened, opened_if_there, settings_of, url_of
from app.cli.program import (
    WHO,
    DatabaseOption,
    JsonOption,
    OrdersOption,
    PackageArgument,
    ReplaceOption,
    cli,
    print_report,
    say,
)


@cli.command()
def load(
    package: PackageArgument,
    replace: ReplaceOption = False,
    orders: OrdersOption = True,
    reason: Annotated[str, typer.Option(help="Why; recorded with the revision.")] = "loaded a package",
    who: Annotated[str, typer.Option(hidden=True)] = WHO,
    idempotency_key: Annotated[str | None, typer.Option(hidden=True)] = None,
    digest: Annotated[str | None, typer.Option(hidden=True)] = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Merge a package, or a workbook that `template` wrote, into the catalogue, all or nothing."""
    from app.drafts.table_workbook import as_package
    from app.exchange.loading import Entry
    from app.exchange.loading import load as load_package
    from app.exchange.progress import shown

    stored = opened(settings_of(database_url=url_of(database)))
    entry = Entry(reason, who, idempotency_key, digest)
    with as_package(package) as path, shown() as progress:
        report = load_package(stored, path, entry, replace=replace, orders=orders, progress=progress)
    print_report(report, as_json)


@cli.command()
def check(
    package: PackageArgument,
    replace: ReplaceOption = False,
    orders: OrdersOption = True,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Report what `load` would find, without storing anything. Without a database, check against an empty catalogue."""
    from app.catalogue.catalogue import Catalogue
    from app.drafts.table_workbook import as_package
    from app.exchange.loading import check as check_package
    from app.exchange.progress import shown

    stored = opened_if_there(settings_of(database_url=url_of(database)))
    catalogue = None if stored is None else Catalogue(stored)
    with as_package(package) as path, shown() as progress:
        report = check_package(path, catalogue, replace=replace, orders=orders, progress=progress)
    print_report(report, as_json)


@cli.command()
def orders(
    reason: Annotated[str, typer.Option(help="Why; recorded with the revision.")] = "common orders of work",
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Add the common orders of work, or renew those that nobody has changed. A catalogue's own orders come first."""
    import datetime as dt

    from app.exchange.loading import Entry
    from app.exchange.renewing import renew

    stored = opened(settings_of(database_url=url_of(database)))
    done = renew(stored, Entry(reason, WHO), dt.datetime.now(dt.UTC).date())
    say(dict(done.answer), as_json, done.text)


@cli.command()
def export(
    path: Annotated[Path, typer.Argument(help="A new folder, .zip or .sqlite file.", show_default=False)],
    revision: Annotated[
        int | None, typer.Option(help="The catalogue at this revision. Default: the latest.", min=0)
    ] = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write the catalogue as a package."""
    from app.catalogue.catalogue import Catalogue, Pin
    from app.exchange.progress import shown
    from app.exchange.sqlite_export import write as write_sqlite
    from app.exchange.writer import export as write

    catalogue = Catalogue(opened(settings_of(database_url=url_of(database))))
    with catalogue.snapshot(Pin(revision)) as snapshot:
        number = snapshot.revision
        if path.suffix == ".sqlite":
            rows = write_sqlite(snapshot, path)
        else:
            with shown() as progress:
                written = 0

                def advance(count: int) -> None:
                    nonlocal written
                    written += count
                    progress("rows written", written, 0)

                rows = write(snapshot, number, path, advance)
    say({"revision": number, "rows": rows}, as_json, f"{rows} rows of revision {number} in {path}")


@cli.command()
def template(
    path: Annotated[Path, typer.Argument(help="A new or empty folder, or a new .xlsx file.", show_default=False)],
    minimal: Annotated[bool, typer.Option("--minimal", help="Only the tables and columns to begin with.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Write empty tables to fill in, every column explained: a folder of CSV files, or a workbook."""
    from app.drafts.template import write_template
    from app.exchange.minimal import MINIMAL
    from app.exchange.writer import template as write

    wanted = MINIMAL if minimal else None
    if path.suffix.lower() == ".xlsx":
        write_template(path, wanted)
        said = f"Fill in what you know of {path}; the headers explain themselves. Then: legwork check {path}"
    else:
        write(path, wanted)
        said = f"Fill in what you know of {path}; its README.md explains every column."
    say({"written": str(path)}, as_json, said)


@cli.command("content-hash")
def hash_content(
    revision: Annotated[
        int | None, typer.Option(help="The catalogue at this revision. Default: the latest.", min=0)
    ] = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Print one hash of all current rows. Equal catalogues have equal hashes, on any database."""
    from app.catalogue.catalogue import Catalogue, Pin
    from app.catalogue.content_hash import HASH_VERSION, content_hash

    with Catalogue(opened(settings_of(database_url=url_of(database)))).snapshot(Pin(revision)) as snapshot:
        found = content_hash(snapshot)
        answer = {"revision": snapshot.revision, "content_hash": found, "hash_version": HASH_VERSION}
        say(answer, as_json, f"{found}  revision {snapshot.revision}")
