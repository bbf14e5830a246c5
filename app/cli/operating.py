"""`backup`, `restore`, `doctor` and `settings`, for operators."""

from pathlib import Path
from typing import Annotated

import typer

from app.cli.opened import settings_of
from app.cli.program import JsonOption, cli, say


@cli.command()
def backup(
    path: Annotated[
        Path | None,
        typer.Argument(
            help="A new folder or .zip. Default: a new folder in LEGWORK_BACKUP_FOLDER.", show_default=False
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Back up both databases while the service runs, with a manifest that `restore` checks."""
    from app.access.keys import now
    from app.database.connections import Database
    from app.operating.backup import take

    settings = settings_of()
    if path is None:
        path = settings.backup_folder / f"legwork-{now().replace(':', '').replace('.', '')}"
    catalogue, shop = Database(settings.database_url), Database(settings.shop_database_url)
    taken = take(catalogue, shop, path)
    answer = {"path": str(path), **taken.model_dump()}
    say(answer, as_json, f"revision {taken.catalogue.revision}, {taken.catalogue.content_hash} in {path}")


@cli.command()
def restore(
    path: Annotated[Path, typer.Argument(help="The backup: a folder or .zip.", show_default=False)],
    replace: Annotated[bool, typer.Option("--replace", help="Replace databases that exist.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Restore both databases from a backup, which is checked first. Stop the service before you run this."""
    from app.database.connections import Database
    from app.operating.restore import restore as put_in_place

    settings = settings_of()
    catalogue, shop = Database(settings.database_url), Database(settings.shop_database_url)
    done = put_in_place(path, catalogue, shop, replace=replace)
    manifest = done.manifest
    answer = {"revision": manifest.catalogue.revision, "content_hash": done.content_hash, "taken_at": manifest.taken_at}
    compared = f"content hash {done.content_hash}" if done.content_hash else "migrated to the schema of this build"
    say(answer, as_json, f"revision {manifest.catalogue.revision} of {manifest.taken_at}, {compared}")


@cli.command()
def doctor(as_json: JsonOption = False) -> None:
    """Check the installation; exit code 1 if something needs attention. Changes nothing."""
    from app.operating.doctor import as_text, looked_over

    found = looked_over(settings_of())
    healthy = not any(each.level == "bad" for each in found)
    say({"healthy": healthy, "findings": [each.as_dict() for each in found]}, as_json, as_text(found))
    if not healthy:
        raise typer.Exit(1)


@cli.command("settings")
def list_settings(as_json: JsonOption = False) -> None:
    """Print every setting with its default, meaning and current value. Passwords and keys are not shown."""
    from app.operating.settings_list import as_text, listed

    found = listed(settings_of())
    say({"settings": [each.as_dict() for each in found]}, as_json, as_text(found))
