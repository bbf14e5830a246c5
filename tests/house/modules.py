"""The modules of app/ as syntax trees, by dotted name."""

import ast
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]


@cache
def modules() -> dict[str, ast.Module]:
    """Every module of app/, read once."""
    paths = sorted((ROOT / "app").rglob("*.py"))
    return {_name(path): ast.parse(path.read_text()) for path in paths}


def _name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
