"""Child processes of a process, as Linux lists them."""

from pathlib import Path


def started_by(parent: int) -> list[int]:
    """Children that a process started from its main thread and that still run; empty once it has ended."""
    try:
        found = Path(f"/proc/{parent}/task/{parent}/children").read_text("ascii")
    except (FileNotFoundError, ProcessLookupError):
        return []
    return [int(child) for child in found.split()]
