"""The command line, all of it under `legwork`: one module per group of commands, each imported only when it is called.

Exit codes: 0 done; 1 refused or not possible, with one plain line on standard error; 2 wrong usage. With `--json` the
answer is one JSON object on standard output; a refusal is `{"refused": {"kind", "detail", "faults"}}`.
"""

from app.cli import asking, drafts, keys, operating, packages, serving, sessions
from app.cli.program import cli, main

__all__ = ["asking", "cli", "drafts", "keys", "main", "operating", "packages", "serving", "sessions"]
