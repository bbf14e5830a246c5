"""Backups of a small catalogue at two revisions, and a key, in the first released schema, one per engine.

Never made again: a later build would make them in its own schema.
"""

from pathlib import Path

FIRST = Path(__file__).parent
HASHES = {
    1: "43688e42cef19afa99d998fed02ac18af40719d171b8bca54e62e8cb5c8c5305",
    2: "80346eee526ad117cb4de416a91a2d686a963c8f924f1673e4bdb6ed1ecca9d8",
}
"""Content hash by revision. A migration that adds a column changes them, and nothing else may: say so in its commit."""
