"""Makes folders that only their owner may open, whatever the umask says."""

from pathlib import Path


def make_private(folder: Path) -> None:
    """Make a folder and the missing ones above it with mode 0700. Those that exist keep their mode. Raises OSError."""
    missing = []
    for each in (folder, *folder.parents):
        if each.exists():
            break
        missing.append(each)
    for each in reversed(missing):
        each.mkdir(mode=0o700, exist_ok=True)
        each.chmod(0o700)
    folder.mkdir(exist_ok=True)  # says so if it is a file
