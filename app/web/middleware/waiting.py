"""Limits how long requests wait for each other: a request that has queued too long is refused before any work."""

from collections import deque
from time import perf_counter

from starlette.types import ASGIApp, Receive, Scope, Send

from app.web.representation.problem_forms import problem_response

ALWAYS_ANSWERED = {"/healthz", "/readyz", "/metrics"}
LONGEST_STEP = 0.25
"""The largest share of the limit that the time between two starts counts for, however long it was."""


class Waiting:
    """ASGI app. Requests that were read together start one after the other, and each waits for the work of those before
    it on the event loop.

    The connection records when a header was complete (`came`, by `perf_counter`). From then on a request may wait for
    `limit_s`; one long step, such as a pause of the process, counts for at most a quarter of that, because a real queue
    is many steps. Requests that came by no connection of ours are not timed.
    """

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
        """Seconds of waiting that count since then."""
        present, before = perf_counter(), self.begun
        self.begun = present
        step = present - (before if before > came else came)
        if step > self.longest_s:
            self.pauses.append((present, step - self.longest_s))
        waited = present - came
        if waited > self.limit_s:
            waited -= sum(left_out for end, left_out in self.pauses if end > came)
        return waited
