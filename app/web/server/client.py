"""Lets a request handler ask whether its client is still connected."""

import asyncio
import socket
import sys
from collections.abc import Callable

_ENDED = {7, 8}
"""Linux's TCP_CLOSE and TCP_CLOSE_WAIT (net/tcp_states.h): the client has reset the connection, or closed it."""


def tcp_info(transport: asyncio.WriteTransport, length: int) -> bytes | None:
    """The first `length` bytes of Linux's `struct tcp_info` for a connection, or None on another system.

    The structure (linux/tcp.h) begins with the state and only ever grows at its end.
    """
    line = transport.get_extra_info("socket")
    if sys.platform != "linux" or line is None or line.family not in (socket.AF_INET, socket.AF_INET6):
        return None
    told: bytes = line.getsockopt(socket.IPPROTO_TCP, socket.TCP_INFO, length)
    return told


class ClientConnection:
    """One connection, which answers one request at a time. `when_left` is called once the client has left."""

    __slots__ = ("_transport", "is_lost", "when_left")

    def __init__(self, transport: asyncio.WriteTransport) -> None:
        self._transport = transport
        self.is_lost = False
        self.when_left: Callable[[], None] | None = None

    def lost(self) -> None:
        """Note that the event loop has seen the connection close."""
        self.is_lost = True
        if self.when_left is not None:
            self.when_left()

    def is_left(self) -> bool:
        """Whether the client has left. On Linux the system is asked, because a busy loop sees no events; elsewhere only
        events that the loop has seen count.
        """
        if self.is_lost:
            return True
        told = tcp_info(self._transport, 4)
        return told is not None and told[0] in _ENDED

    async def ended(self) -> None:
        """Close a connection whose client has left, and wait until the event loop has seen it."""
        if not self.is_lost:
            heard = asyncio.Event()
            self.when_left = heard.set
            self._transport.abort()
            await heard.wait()
