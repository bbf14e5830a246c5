"""ISO metric threads of fasteners, as several rules need them."""

from functools import lru_cache

from app.physics.threads import Thread, parse_thread


@lru_cache(maxsize=4096)
def thread_of(designation: str) -> Thread | None:
    """The ISO metric thread of a designation, or None if it is not one."""
    try:
        return parse_thread(designation)
    except ValueError:
        return None
