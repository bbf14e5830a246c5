"""Flags: remarks from the bench that a value looks wrong, listed for editors until they are settled."""

import json

from sqlalchemy import delete, func, insert, select
from typing_extensions import TypedDict

from app.access.idempotency import IdempotentRequest, made_before, remember
from app.access.keys import now
from app.bench.stored import FLAGS
from app.database.connections import Database
from app.errors import NotFound


class FlagRow(TypedDict):
    """One flag; `by` is the public label of a key."""

    number: int
    statement: str
    table: str
    revision: int
    text: str
    flagged_at: str
    by: str


def flag(
    shop: Database,
    statement: str,
    table: str,
    revision: int,
    text: str,
    by: str,
    request: IdempotentRequest | None = None,
) -> tuple[FlagRow, bool]:
    """Flag a statement as of that revision; True if the same `request` did so before."""
    at = now()
    row = {
        "statement": statement, "statement_table": table, "revision": revision, "text": text, "flagged_at": at,
        "flagged_by": by,
    }  # fmt: skip
    with shop.write() as connection:
        if (before := made_before(connection, request)) is not None:
            return json.loads(before), True
        made = connection.execute(insert(FLAGS), row).inserted_primary_key
        assert made is not None
        flagged: FlagRow = {
            "number": int(made[0]), "statement": statement, "table": table, "revision": revision, "text": text,
            "flagged_at": at, "by": by,
        }  # fmt: skip
        remember(connection, request, json.dumps(flagged, ensure_ascii=False))
    return flagged, False


def listed(shop: Database, limit: int, after: int, statement: str | None) -> tuple[list[FlagRow], int]:
    """Open flags, oldest first, with a number above `after`; and the total count."""
    wanted = [] if statement is None else [FLAGS.c.statement == statement]
    rows = select(FLAGS).where(FLAGS.c.number > after, *wanted).order_by(FLAGS.c.number).limit(limit)
    with shop.read() as connection:
        total = connection.execute(select(func.count()).select_from(FLAGS).where(*wanted)).scalar_one()
        found = connection.execute(rows).fetchall()
    return [
        {
            "number": row.number, "statement": row.statement, "table": row.statement_table, "revision": row.revision,
            "text": row.text, "flagged_at": row.flagged_at, "by": row.flagged_by,
        }
        for row in found
    ], total  # fmt: skip


def settle(shop: Database, number: int) -> None:
    """Delete a flag that has been settled. Raises NotFound."""
    with shop.write() as connection:
        if connection.execute(delete(FLAGS).where(FLAGS.c.number == number)).rowcount == 0:
            raise NotFound("There is no such flag.")
