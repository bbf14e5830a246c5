"""Templates made ready beside the service: a page that is asked for first is not kept waiting for its template.

`python -m app.web.representation.prepared` compiles them beforehand, for a disk that a service cannot write to.
"""

import asyncio
import gc
import threading

from app.web.representation.page import environment

AFTER_SECONDS = 0.3
"""How long after the start the templates are compiled: whoever waits for the start has had an answer by then."""


def prepare_soon() -> asyncio.TimerHandle:
    """Compile every template in a thread of its own, a little later; needs a running loop. It can be cancelled."""
    environment()  # made here, so that the thread and the first page share it
    thread = threading.Thread(target=_prepare_and_settle, name="templates", daemon=True)
    return asyncio.get_running_loop().call_later(AFTER_SECONDS, thread.start)


def _prepare_and_settle() -> None:
    """Afterwards what stands for good is no longer gone through for garbage, which would hold a request up."""
    prepare()
    gc.freeze()


def prepare() -> None:
    """Compile every template that is not compiled yet."""
    templates = environment()
    for name in templates.list_templates(extensions=("html",)):
        templates.get_template(name)


if __name__ == "__main__":
    prepare()
