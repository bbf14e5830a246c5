"""Templates as compiled once: beside them, as Python keeps its own modules, and like those only where it may write.

A template of this build is read from there; a changed one is compiled anew. On a disk that cannot be written to, what
the image was built with is used, or else each start compiles for itself.
"""

import hashlib
import os
import sys
import tempfile
from contextlib import suppress
from functools import cache
from pathlib import Path

from jinja2 import BytecodeCache
from jinja2.bccache import Bucket

from app.web.representation import words

_SUM = hashlib.sha256().digest_size


class Compiled(BytecodeCache):
    """What each template was compiled to, in `__pycache__` of their folder: a SHA-256, then what it is of.

    Whoever may write there could change the templates as well.
    """

    def __init__(self, templates: Path) -> None:
        self.folder = templates / "__pycache__"

    def get_source_checksum(self, source: str) -> str:
        """Of the template and of the filters, whose results of constants are compiled in."""
        return hashlib.sha256(f"{_filters()}\n{source}".encode()).hexdigest()

    def load_bytecode(self, bucket: Bucket) -> None:
        """Nothing is loaded of a file that is not there or not whole; Jinja compares its version and the checksum."""
        with suppress(OSError):
            kept = self._path(bucket).read_bytes()
            if hashlib.sha256(kept[_SUM:]).digest() == kept[:_SUM]:
                bucket.bytecode_from_string(kept[_SUM:])

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Whole or not at all; where nothing can be written the template is compiled at the next start again."""
        code = bucket.bytecode_to_string()
        with suppress(OSError):
            self.folder.mkdir(exist_ok=True)
            number, beside = tempfile.mkstemp(dir=self.folder, suffix=".new")
            try:
                with os.fdopen(number, "wb") as file:
                    file.write(hashlib.sha256(code).digest() + code)
                Path(beside).chmod(0o644)
                Path(beside).replace(self._path(bucket))
            except BaseException:
                Path(beside).unlink(missing_ok=True)
                raise

    def _path(self, bucket: Bucket) -> Path:
        return self.folder / f"{bucket.key}.{sys.implementation.cache_tag}.page"


@cache
def _filters() -> str:
    return hashlib.sha256(Path(words.__file__).read_bytes()).hexdigest()
