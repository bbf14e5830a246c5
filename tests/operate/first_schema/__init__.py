"""Backups of a small catalogue at two revisions, and a key, in the first released schema, one per engine.

Do not regenerate them: a later build would write its own schema."""

from pathlib import Path

FIRST = Path(__file__).parent
HASHES = {
    1: "eb2944ac3a2ea90e519ed61d1a77820b3e05fc4c7aadddeba685ae62acc198f1",
    2: "f49c42385848703de1f55abee2c91ba537972390bf64c13218d53643d4ff505d",
}
"""Content hash by revision, as version 2 defines it. A migration that adds a column leaves them as they are."""
