"""`serve` and `migrate`."""

import gc
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated

import typer

from app.cli.opened import make_current, opened, settings_of, url_of
from app.cli.program import WHO, DatabaseOption, JsonOption, cli, print_report, say
from app.errors import Refusal, Unavailable

if TYPE_CHECKING:
    from app.database.connections import Database


@cli.command()
def serve(
    host: Annotated[str | None, typer.Option(help="Address to listen on.")] = None,
    port: Annotated[int | None, typer.Option(help="Port to listen on; 0 takes a free one.", min=0, max=65535)] = None,
    database: DatabaseOption = None,
    workers: Annotated[
        int | None, typer.Option(help="Processes that answer; else LEGWORK_WORKERS, or 1.", min=1, max=256)
    ] = None,
    accept: Annotated[
        bool, typer.Option("--accept", help="Accept a catalogue that is older than the shop database knows.")
    ] = False,
    demo: Annotated[bool, typer.Option("--demo", help="Load the demonstration data into an empty catalogue.")] = False,
) -> None:
    """Run the server. A SQLite database is migrated first."""
    with _kept_for_good():
        from app.catalogue.catalogue import Catalogue
        from app.catalogue.lineage import latest
        from app.database.connections import Database
        from app.exchange.loading import Entry, load
        from app.main import create_app
        from app.web.demonstration import SEED_DATA
        from app.web.server.addresses import with_own_hosts
        from app.web.server.server import run, run_workers

    settings = with_own_hosts(settings_of(host=host, port=port, workers=workers, database_url=url_of(database)))
    stored = Database(settings.database_url, settings.read_url)
    shop = Database(settings.shop_database_url)
    make_current(stored, "catalogue")
    try:
        make_current(shop, "shop")
    except Unavailable as refused:
        if not stored.has_replica or refused.__cause__ is None:
            raise
        print("The shop database cannot be reached. Only lookups work until it is back.", file=sys.stderr)
    if demo:
        with stored.read() as connection:
            empty = latest(connection) == 0
        if empty:
            report = load(stored, SEED_DATA, Entry("demonstration data", WHO))
            if not report["accepted"]:
                print_report(report, as_json=False)
    _say_if_older(stored, shop, accept=accept)
    if settings.workers == 1:
        run(settings, create_app(settings, Catalogue(stored), shop))
        return
    stored.close()
    shop.close()
    run_workers(settings)


def _say_if_older(stored: "Database", shop: "Database", *, accept: bool) -> None:
    """Say so if the catalogue is older than the shop database knows, as after an older backup was restored."""
    from app.access.catalogue_seen import known_revision
    from app.catalogue.lineage import latest

    with stored.read() as connection:
        number = latest(connection)
    try:
        known = known_revision(shop, number, accept=accept)
    except Refusal:  # a replica without its shop database, or one that takes no writes: lookups only
        return
    if known > number:
        print(
            f"The catalogue is at revision {number}, but the shop database knows of revision {known}: an older one was "
            "put in its place. Restore the newer one, or accept this one with: legwork serve --accept",
            file=sys.stderr,
        )


@contextmanager
def _kept_for_good() -> Iterator[None]:
    """Pause garbage collection: these imports create no garbage, and collecting took a fifth of the start."""
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        gc.enable()


@cli.command()
def migrate(database: DatabaseOption = None, as_json: JsonOption = False) -> None:
    """Create or migrate the tables of both databases, and check the catalogue against the rules of this build."""
    import datetime as dt

    from app.database.migrating import HEADS
    from app.exchange.judging import judge_again

    settings = settings_of(database_url=url_of(database))
    stored = opened(settings, bring_up=True)
    counts = judge_again(stored, dt.datetime.now(dt.UTC).date())
    stored.close()
    schemas = ", ".join(f"{which} at {version}" for which, version in HEADS.items())
    findings = f"{counts['reject']} faults and {counts['warn']} warnings under the rules of this build"
    say({**HEADS, "faults": counts["reject"], "warnings": counts["warn"]}, as_json, f"{schemas}; {findings}")
