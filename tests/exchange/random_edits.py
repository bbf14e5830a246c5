"""Random edits that are accepted: rows of the demo changed, withdrawn, reopened and added, one or several at once."""

import datetime as dt
import random
from typing import Any

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import STATEMENTS, TABLES, Row
from app.database.connections import Database
from app.errors import Conflict, Invalid
from app.exchange.editing import write_edits
from app.exchange.loading import Entry
from app.exchange.read_edits import Edit

TODAY = dt.datetime.now(dt.UTC).date()  # a copy judges with the day a revision was recorded
SAID = {"makers": "name", "parts": "name", "fluids": "name", "tools": "name", "sources": "title", "variants": "name"}


class RandomEdits:
    """Edits one catalogue; `refused` counts edits that the rules rejected, `kinds` the accepted ones by kind."""

    def __init__(self, database: Database, seed: int) -> None:
        self.database = database
        self.chance = random.Random(seed)
        self.gone: list[Row] = []
        self.kinds = dict.fromkeys(("put", "figure", "withdraw", "reopen", "add"), 0)
        self.refused = 0
        self.number = 0
        with Catalogue(database).snapshot() as snapshot:
            self.rows: dict[tuple[str, str], Row] = {
                (name, row.id): row for name, table in TABLES.items() for row in snapshot.all(table)
            }

    def accepted(self, count: int) -> None:
        """Makes that many revisions."""
        done = 0
        while done < count:
            done += self.once()

    def once(self) -> bool:
        """Tries one request with one to four changes; True if it made a revision."""
        self.number += 1
        wanted = [self._edit() for _ in range(self.chance.choice((1, 1, 1, 2, 4)))]
        edits = {(edit.table.table, edit.id): (kind, edit) for kind, edit in wanted}
        entry = Entry(f"edit {self.number}: read again", f"bench {self.number % 3}")
        try:
            written = write_edits(self.database, [edit for _, edit in edits.values()], entry, TODAY)
        except (Invalid, Conflict):
            self.refused += 1
            return False
        for key, (kind, edit) in edits.items():
            self._keep(key, edit)
            self.kinds[kind] += written.opened
        return written.opened

    def _keep(self, key: tuple[str, str], edit: Edit) -> None:
        if edit.row is None:
            self.gone.append(self.rows.pop(key))
        else:
            self.rows[key] = edit.row
            self.gone = [row for row in self.gone if (row.table, row.id) != key]

    def _edit(self) -> tuple[str, Edit]:
        kind = self.chance.choices(("put", "figure", "withdraw", "reopen", "add"), (6, 3, 3, 2, 1))[0]
        if kind == "reopen" and self.gone:
            row = self.chance.choice(self.gone)
            return kind, Edit(row.model, row.id, row)
        if kind == "add":
            id = f"tool-{self.number}-{self.chance.randrange(10**6)}"
            row = TABLES["tools"].model_validate({"id": id, "name": f"Tool {self.number}"})
            return kind, Edit(row.model, row.id, row)
        statements = [table.table for table in STATEMENTS]
        names = statements if kind in ("withdraw", "figure") else [*statements, *SAID]
        row = self._any(self.chance.choice(names))
        if kind == "withdraw":
            return kind, Edit(row.model, row.id, None)
        if kind == "figure" and (changed := self._scaled(row)) is not None:
            return kind, Edit(row.model, row.id, changed)
        column = SAID.get(row.table, "note")
        return "put", Edit(row.model, row.id, self._with(row, column, f"said {self.number}: ½ – “ä”; {row.id}"))

    def _any(self, table: str) -> Row:
        return self.chance.choice([row for (name, _), row in self.rows.items() if name == table])

    def _scaled(self, row: Row) -> Row | None:
        given = [name for name in ("value", "pressure", "hours", "extent_mm", "count") if getattr(row, name, None)]
        if not given:
            return None
        name = self.chance.choice(given)
        figure = getattr(row, name)
        return self._with(row, name, figure + (1 if self.chance.random() < 0.5 else -1))

    def _with(self, row: Row, column: str, value: Any) -> Row:
        return row.model.checked({**row.values(), column: value})
