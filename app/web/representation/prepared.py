"""Compiles templates in the background, so that the first page does not wait for its template.

`python -m app.web.representation.prepared` compiles them in advance, for a read-only disk.
"""

import asyncio
import gc
import threading

from app.web.representation.page import environment

AFTER_SECONDS = 0.3
"""Seconds after the start at which the templates are compiled, so that the first requests are not held up."""


def prepare_soon() -> asyncio.TimerHandle:
    """Compile every template in its own thread, a little later; needs a running loop. It can be cancelled."""
    environment()  # made here, so that the thread and the first page share it
    thread = threading.Thread(target=_prepare_and_settle, name="templates", daemon=True)
    return asyncio.get_running_loop().call_later(AFTER_SECONDS, thread.start)


def _prepare_and_settle() -> None:
    """Freeze permanent objects afterwards, so that garbage collection does not scan them and delay requests."""
    prepare()
    gc.freeze()


def prepare() -> None:
    """Compile every template that is not yet compiled."""
    templates = environment()
    for name in templates.list_templates(extensions=("html",)):
        templates.get_template(name)


if __name__ == "__main__":
    prepare()
