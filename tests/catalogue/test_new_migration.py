"""The command that writes a migration finds nothing to do for unchanged tables, on both chains."""

import shutil
from pathlib import Path

import pytest

from app.database import migrating, new_migration


@pytest.mark.parametrize("which", ["catalogue", "shop"])
def test_a_new_migration_of_unchanged_tables_is_empty(
    which: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(migrating.MIGRATIONS, tmp_path / "migrations")
    monkeypatch.setattr(migrating, "MIGRATIONS", tmp_path / "migrations")
    written = new_migration.write_migration(which, "nothing")
    assert written.parent == tmp_path / "migrations" / which / "versions"
    body = written.read_text().partition("def upgrade")[2]
    assert "op." not in body
    assert f"revision = '{int(migrating.HEADS[which]) + 1:04d}'" in written.read_text()


def test_heads_are_the_last_of_each_chain() -> None:
    for which, number in migrating.HEADS.items():
        versions = sorted(path.name[:4] for path in (migrating.MIGRATIONS / which / "versions").glob("*.py"))
        assert versions[-1] == number
        assert len(set(versions)) == len(versions)
