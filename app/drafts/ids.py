"""Ids that derive from what a row is, so that two shops that enter one manual arrive at the same ids."""

import re
import unicodedata

from app.catalogue.rows import Rows
from app.catalogue.tables import TABLES, Row

LONGEST = 80
_SPELT = str.maketrans({"ß": "ss", "ø": "o", "Ø": "O", "æ": "ae", "Æ": "AE", "œ": "oe", "ł": "l", "Ł": "L", "đ": "d"})


def slug(*parts: object) -> str:
    """The parts in lower-case ASCII, joined by hyphens, with at most 80 characters; empty parts are left out."""
    texts = [unicodedata.normalize("NFKD", str(part).translate(_SPELT)) for part in parts if part not in (None, "")]
    joined = "-".join(text.encode("ascii", "ignore").decode() for text in texts).lower()
    return re.sub(r"[^a-z0-9]+", "-", joined).strip("-")[:LONGEST].rstrip("-")


class RowIds:
    """Gives each row its id: the same row the same one, and another row one that is not taken."""

    def __init__(self, base: Rows) -> None:
        self._base = base
        self._given: dict[tuple[str, str], object] = {}

    def new(self, table: type[Row], identity: object, *parts: object) -> str:
        """The id of a row that is not stored yet. `identity` is equal for two rows that are the same one."""
        wanted = slug(*parts) or table.table
        number = 1
        while True:
            end = "" if number == 1 else f"-{number}"
            id = wanted[: LONGEST - len(end)].rstrip("-") + end
            taken = self._given.get((_space(table), id))
            if taken == (table.table, identity) or (taken is None and not self._is_stored(table, id)):
                self._given[_space(table), id] = (table.table, identity)
                return id
            number += 1

    def _is_stored(self, table: type[Row], id: str) -> bool:
        """Whether the catalogue has the id; statements of all tables share one space of ids."""
        tables = [each for each in TABLES.values() if each.role == "statement"]
        return any(self._base.one(each, id) for each in (tables if table.role == "statement" else [table]))


def _space(table: type[Row]) -> str:
    return "statement" if table.role == "statement" else table.table
