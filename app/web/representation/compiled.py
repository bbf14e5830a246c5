"""Caches Jinja's compiled templates next to them, as Python does with its modules, if the folder is writable."""

import hashlib
import os
import sys
from pathlib import Path
from pickle import UnpicklingError

from jinja2 import FileSystemBytecodeCache
from jinja2.bccache import Bucket

from app.web.representation import words


class TemplateCache(FileSystemBytecodeCache):
    """Jinja's own cache, except that a file cut off in its checksum is compiled again and not an error."""

    def load_bytecode(self, bucket: Bucket) -> None:
        """Read what was compiled before; leave the bucket empty if that cannot be read."""
        try:
            super().load_bytecode(bucket)
        except UnpicklingError:
            bucket.reset()


def bytecode_cache(templates: Path) -> TemplateCache | None:
    """Jinja's own cache in `__pycache__` of that folder; None if it is not writable and does not hold all templates.

    The file names change with the filters, because Jinja compiles in the results of filters on constants. On a
    read-only disk the templates compiled into the image are used; otherwise each start compiles its own.
    """
    filters = hashlib.sha256(Path(words.__file__).read_bytes()).hexdigest()[:16]
    pattern = f"%s.{filters}.{sys.implementation.cache_tag}.page"
    folder = templates / "__pycache__"
    try:
        folder.mkdir(exist_ok=True)
    except OSError:
        return None
    complete = len([*folder.glob(pattern.replace("%s", "*"))]) >= len([*templates.glob("*.html")])
    return TemplateCache(str(folder), pattern) if complete or os.access(folder, os.W_OK) else None
