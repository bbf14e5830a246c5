"""Progress on a terminal; nothing if standard error is not one."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager

from app.exchange.merging import Progress, silent


@contextmanager
def shown() -> Iterator[Progress]:
    """A progress callback to use while the block runs."""
    if not sys.stderr.isatty():
        yield silent
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bars

    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.fields[share]}"), TimeElapsedColumn())
    with Bars(*columns, console=Console(stderr=True), transient=True) as bars:
        task = bars.add_task("opening", total=None, share="")

        def tell(what: str, done: int, total: int) -> None:
            share = f"{100 * done // total} %" if total else f"{done:,}" if done else ""
            bars.update(task, description=what, completed=done, total=total or None, share=share)

        yield tell
