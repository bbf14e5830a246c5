"""People of one shop who enter tables by drafts: an editor, a second reader, and an editor of another shop."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import httpx

from app.access import keys
from app.catalogue.catalogue import Catalogue
from app.catalogue.content_hash import content_hash
from app.catalogue.tables import TABLES
from app.database.connections import Database
from tests.api.writing import Writing, writing

CITED = {"chassis": "quembry-trivet-35", "source": "quembry-shop-book-3"}


class Drafting:
    """The requests of somebody about drafts."""

    def __init__(self, service: Writing, label: str, scopes: list[str], shop: str) -> None:
        self.service = service
        self.token = str(keys.add(service.shop, label, scopes, of=shop).token)

    async def send(self, method: str, path: str, body: Any = None, **headers: str) -> httpx.Response:
        """Send a request with a JSON body."""
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        return await self.service.client.request(
            method, path, json=body, headers={"Authorization": f"Bearer {self.token}", **named}
        )

    async def start(self, **body: Any) -> "Draft":
        """Start a draft."""
        answer = await self.send("POST", "/v1/drafts", body)
        assert answer.status_code == 201, answer.text
        return Draft(self, answer)


class Draft:
    """A draft as somebody sees it: the last answer, with its version."""

    def __init__(self, by: Drafting, answer: httpx.Response) -> None:
        self.by = by
        self.take(answer)

    def take(self, answer: httpx.Response) -> None:
        """Look at an answer."""
        self.answer: dict[str, Any] = answer.json()
        self.id = str(self.answer["draft"]["id"])
        self.tag = answer.headers["etag"]

    @property
    def path(self) -> str:
        """Its address."""
        return f"/v1/drafts/{self.id}"

    async def look(self, by: Drafting | None = None) -> "Draft":
        """Look at it again."""
        answer = await (by or self.by).send("GET", self.path)
        assert answer.status_code == 200, answer.text
        if by is not None:
            return Draft(by, answer)
        self.take(answer)
        return self

    async def paste(self, text: str, name: str = "table", *, status: int = 200) -> dict[str, Any]:
        """Add a pasted table."""
        return await self.upload(text.encode(), "text/plain", name, status=status)

    async def upload(self, content: bytes, media_type: str, name: str, *, status: int = 200) -> dict[str, Any]:
        """Add a table from a file."""
        answer = await self.by.service.client.post(
            f"{self.path}/grids", params={"name": name}, content=content,
            headers={
                "Authorization": f"Bearer {self.by.token}", "Content-Type": media_type, "If-Match": self.tag,
            },
        )  # fmt: skip
        assert answer.status_code == status, answer.text
        if status == 200:
            self.take(answer)
        return dict(answer.json())

    async def change(self, *, status: int = 200, **body: Any) -> httpx.Response:
        """Change it."""
        answer = await self.by.send("PATCH", self.path, body, If_Match=self.tag)
        assert answer.status_code == status, answer.text
        if status == 200:
            self.take(answer)
        return answer

    async def read_all(self, reader: Drafting) -> None:
        """Tick every row that changes, as the second reader."""
        seen = await self.look(reader)
        ticks = [
            {"table": row["table"], "id": row["id"], "content": row["content"], "said": "so"}
            for row in seen.answer["rows"] if row["effect"] != "same"
        ]  # fmt: skip
        answer = await reader.send("POST", f"{self.path}/ticks", {"ticks": ticks})
        assert answer.status_code == 200, answer.text
        await self.look()

    async def load(self, *, status: int = 201, **body: Any) -> dict[str, Any]:
        """Load it."""
        answer = await self.by.send("POST", f"{self.path}/load", body, If_Match=self.tag)
        assert answer.status_code == status, answer.text
        return dict(answer.json())

    @property
    def questions(self) -> list[str]:
        """The open questions."""
        return [each["question"] for each in self.answer["questions"]]

    def row(self, table: str) -> dict[str, Any]:
        """The only row of a table."""
        found = [row for row in self.answer["rows"] if row["table"] == table]
        assert len(found) == 1
        return dict(found[0])

    def rows(self, effect: str) -> dict[str, dict[str, str]]:
        """The rows with an effect, by table and id."""
        return {f"{row['table']}/{row['id']}": row["row"] for row in self.answer["rows"] if row["effect"] == effect}


def hash_of(database: Database) -> str:
    """The content hash of the catalogue."""
    return Catalogue(database).answer(lambda snapshot: content_hash(snapshot))  # type: ignore[no-any-return]


def all_rows(database: Database) -> dict[str, dict[str, str]]:
    """Every row of a catalogue as text, by table and id."""
    with Catalogue(database).snapshot() as snapshot:
        return {
            f"{name}/{row.id}": row.cells() for name, table in TABLES.items() for row in snapshot.all(table)
        }  # fmt: skip


@asynccontextmanager
async def drafting(database: Database, folder: Path, **more: Any) -> AsyncIterator[tuple[Drafting, Drafting, Drafting]]:
    """An editor, the second reader of the same shop, and an editor of another shop."""
    async with writing(database, folder, **more) as service:
        yield (
            Drafting(service, "office", ["edit"], "left"), Drafting(service, "bench 2", ["review"], "left"),
            Drafting(service, "elsewhere", ["edit", "review"], "right"),
        )  # fmt: skip
