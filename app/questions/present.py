"""A row that must be there: found, or refused as unknown with near ids, or as withdrawn."""

from typing import TypeVar

from sqlalchemy import bindparam, func, select

from app.catalogue.rows import At
from app.catalogue.stored import SQL
from app.catalogue.tables import Row
from app.errors import Gone, NotFound

R = TypeVar("R", bound=Row)


def present(at: At, table: type[R], id: str) -> R:
    """The row of that id at this revision. Raises NotFound, or Gone where it has been withdrawn."""
    row = at.one(table, id)
    if row is not None:
        return row
    stored = SQL[table]
    ended = select(func.max(stored.c.revision_to)).where(
        stored.c.id == bindparam("id"), stored.c.revision_to <= at.revision
    )
    withdrawn = at.connection.execute(ended, {"id": id}).scalar()
    if withdrawn is not None:
        raise Gone(f"{id} was withdrawn with revision {withdrawn}", withdrawn_with=withdrawn)
    raise NotFound(f"there is nothing of that id in {table.table}", candidates=[])
