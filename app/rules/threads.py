"""ISO metric threads of fasteners, as several rules need them."""

from functools import lru_cache

from app.physics.threads import Thread, parse_thread


@lru_cache(maxsize=4096)
def thread_of(designation: str) -> Thread | None:
    """The ISO metric thread of a designation, None if it is none."""
    try:
        return parse_thread(designation)
    except ValueError:
        return None
