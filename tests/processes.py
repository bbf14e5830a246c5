"""The processes that others have started, as Linux lists them."""

from pathlib import Path


def started_by(parent: int) -> list[int]:
    """Those that a process has started from its first thread and that still run; none once it has ended itself."""
    try:
        found = Path(f"/proc/{parent}/task/{parent}/children").read_text("ascii")
    except (FileNotFoundError, ProcessLookupError):
        return []
    return [int(child) for child in found.split()]
