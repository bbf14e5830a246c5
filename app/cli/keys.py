"""`keys add`, `keys list` and `keys revoke`."""

from typing import Annotated

import typer

from app.cli.opened import opened_shop
from app.cli.program import JsonOption, cli, say

keys = typer.Typer(name="keys", help="Manage API keys.", no_args_is_help=True)
cli.add_typer(keys)


@keys.command("add")
def add_key(
    label: Annotated[
        str, typer.Argument(help="Public label, recorded with every revision. Do not use a person's name.")
    ],
    scope: Annotated[list[str], typer.Option(help="read, edit, review, bench or admin; can be repeated.")],
    shop: Annotated[
        str | None, typer.Option(help="Keys of one shop share a bench log; a key without a shop has its own.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Create a key. It is shown only once; only its hash is stored."""
    from app.access.keys import add

    made = add(opened_shop(), label, scope, of=shop)
    shown = {"id": made.id, "label": made.label, "scopes": made.scopes, "shop": made.shop, "key": made.token}
    say(shown, as_json, str(made.token))


@keys.command("list")
def list_keys(as_json: JsonOption = False) -> None:
    """List all keys by public id and label, including revoked ones."""
    from tabulate import tabulate

    from app.access.keys import listed

    found = [
        {"id": key.id, "label": key.label, "scopes": " ".join(key.scopes), "shop": key.shop,
         "made": key.created_at, "revoked": key.revoked_at or ""}
        for key in listed(opened_shop())
    ]  # fmt: skip
    say({"keys": found}, as_json, tabulate(found, headers="keys") if found else "There are no keys.")


@keys.command("revoke")
def revoke_key(id: Annotated[str, typer.Argument(help="Public id of the key.")], as_json: JsonOption = False) -> None:
    """Revoke a key at once."""
    from app.access.keys import revoke

    revoke(opened_shop(), id)
    say({"revoked": id}, as_json, f"Key {id} is revoked.")
