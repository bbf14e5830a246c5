"""Where Jinja keeps compiled templates: beside them, as Python keeps its own modules, if that can be written to."""

import hashlib
import os
import sys
from pathlib import Path

from jinja2 import FileSystemBytecodeCache

from app.web.representation import words


def bytecode_cache(templates: Path) -> FileSystemBytecodeCache | None:
    """Jinja's own cache in `__pycache__` of that folder; None if that cannot be written to and does not hold them all.

    The file names change with the filters, because Jinja compiles in what a filter makes of a constant. On a disk that
    cannot be written to, the templates that the image was built with are used, or each start compiles for itself.
    """
    filters = hashlib.sha256(Path(words.__file__).read_bytes()).hexdigest()[:16]
    pattern = f"%s.{filters}.{sys.implementation.cache_tag}.page"
    folder = templates / "__pycache__"
    try:
        folder.mkdir(exist_ok=True)
    except OSError:
        return None
    complete = len([*folder.glob(pattern.replace("%s", "*"))]) >= len([*templates.glob("*.html")])
    return FileSystemBytecodeCache(str(folder), pattern) if complete or os.access(folder, os.W_OK) else None
