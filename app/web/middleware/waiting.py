"""How long requests wait for each other: who has waited too long is sent away before anything is done for them."""

from collections import deque
from time import perf_counter

from starlette.types import ASGIApp, Receive, Scope, Send

from app.web.representation.problem_forms import problem_response

ALWAYS_ANSWERED = {"/healthz", "/readyz", "/metrics"}
LONGEST_STEP = 0.25
"""Share of the limit that the time between two beginnings counts for at most, however long it was."""


class Waiting:
    """Pure ASGI. What was read together is begun one after the other, and each waits for what those before it compute
    on the loop. The connection leaves in the state when a header was whole (`came`, by `perf_counter`); from then to
    here a request may wait for `limit_s`, of which one long step, as a pause of the process, counts for a quarter at
    most: a queue is many steps. What came by no connection of ours is not timed."""

    def __init__(self, app: ASGIApp, limit_s: float) -> None:
        self.app = app
        self.limit_s, self.longest_s = limit_s, limit_s * LONGEST_STEP
        self.begun = perf_counter()
        self.pauses: deque[tuple[float, float]] = deque(maxlen=50)
        """When a long step ended, and the seconds of it that do not count."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        came = scope["state"].get("came") if scope["type"] == "http" else None
        if came is not None and self._waited(came) > self.limit_s and scope["path"] not in ALWAYS_ANSWERED:
            detail = "The server is overloaded. Retry in a second."
            await problem_response(scope, "unavailable", detail, headers={"Retry-After": "1"})(scope, receive, send)
            return
        await self.app(scope, receive, send)

    def _waited(self, came: float) -> float:
        """Seconds since then, as they count."""
        present, before = perf_counter(), self.begun
        self.begun = present
        step = present - (before if before > came else came)
        if step > self.longest_s:
            self.pauses.append((present, step - self.longest_s))
        waited = present - came
        if waited > self.limit_s:
            waited -= sum(left_out for end, left_out in self.pauses if end > came)
        return waited
