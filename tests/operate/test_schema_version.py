"""The schema version written in the code is that of the chain of migrations."""

import pytest
from alembic.config import Config
from alembic.script import ScriptDirectory

from app.database.migrating import HEADS, MIGRATIONS


@pytest.mark.parametrize("which", ["catalogue", "shop"])
def test_the_version_of_this_build_is_the_last_of_its_chain(which: str) -> None:
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS / which))
    assert ScriptDirectory.from_config(config).get_heads() == [HEADS[which]]
