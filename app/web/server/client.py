"""What who answers a request may know of the connection it came on: whether its client is still there."""

import asyncio
import socket
import sys
from collections.abc import Callable
from typing import Any

_ENDED = {7, 8}
"""TCP_CLOSE and TCP_CLOSE_WAIT of Linux (net/tcp_states.h): the other end has reset the connection, or closed it."""


def tcp_info(transport: Any, length: int) -> bytes | None:
    """The first bytes of what Linux tells of a connection (`struct tcp_info` of linux/tcp.h, which only grows at its
    end, begins with the state); None where there is none."""
    line = transport.get_extra_info("socket")
    if sys.platform != "linux" or line is None or line.family not in (socket.AF_INET, socket.AF_INET6):
        return None
    told: bytes = line.getsockopt(socket.IPPROTO_TCP, socket.TCP_INFO, length)
    return told


class ClientConnection:
    """One connection, on which one request is answered at a time. `when_left` is called once the client is gone."""

    __slots__ = ("_transport", "is_lost", "when_left")

    def __init__(self, transport: Any) -> None:
        self._transport = transport
        self.is_lost = False
        self.when_left: Callable[[], None] | None = None

    def lost(self) -> None:
        """The loop has heard that the connection is closed."""
        self.is_lost = True
        if self.when_left is not None:
            self.when_left()

    def is_left(self) -> bool:
        """Whether the client is gone, asked of the system while the loop computes and hears nothing; off Linux only
        what the loop has heard."""
        if self.is_lost:
            return True
        told = tcp_info(self._transport, 4)
        return told is not None and told[0] in _ENDED

    async def ended(self) -> None:
        """Let the loop hear that a connection whose client is gone is closed."""
        if not self.is_lost:
            heard = asyncio.Event()
            self.when_left = heard.set
            self._transport.abort()
            await heard.wait()
