"""Fixtures of the tests of drafts: people on a demo of their own, and a shop database."""

from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import pytest

from app.database.connections import Database
from app.database.migrating import migrate
from tests.conftest import Fresh
from tests.drafts.drafting import Drafting, drafting


@pytest.fixture
async def people(
    request: pytest.FixtureRequest, fresh_database: Fresh, tmp_path: Path
) -> AsyncIterator[tuple[Drafting, Drafting, Drafting]]:
    """An editor, a second reader and somebody of another shop, on a demo of their own."""
    with fresh_database(getattr(request, "param", "sqlite"), True) as url:
        database = Database(url)
        async with drafting(database, tmp_path) as found:
            yield found
        database.close()


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Database]:
    """A shop database."""
    found = Database(f"sqlite:///{tmp_path / 'shop.db'}")
    migrate(found, "shop")
    yield found
    found.close()
