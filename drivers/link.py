"""The seam between intent and bytes: everything that moves bytes looks like this."""

from typing import Protocol

MESSAGE_LIMIT = 65_536
"""Longest message accepted, in bytes. A babbling instrument must not fill the memory."""


class Link(Protocol):
    """Moves bytes to and from one instrument. Knows no SCPI.

    One user at a time: a second thread inside a call is a `LinkError`, not a race. Every call raises
    `LinkClosed` when the other end is gone, `LinkError` for what else stops the bytes, and `Stopped` within
    0.1 s of a stop. Timeouts are in seconds of link time (real on real ports) and are kept within 50 ms, also
    against a peer that drips bytes.
    """

    name: str
    """Who this is, for messages: the instrument's name in the bench file and its address."""

    def write(self, data: bytes) -> None:
        """Send all of `data`; `LinkTimeout` if the other end does not take it within the write timeout."""
        ...

    def read_until(self, terminator: bytes, *, timeout: float, limit: int = MESSAGE_LIMIT) -> bytes:
        """Return the next message without its terminator.

        Raises `LinkTimeout` (with what came) if it is not complete in time, `ReplyError` if it is longer
        than `limit`. What follows the terminator stays for the next read.
        """
        ...

    def read_exactly(self, count: int, *, timeout: float) -> bytes:
        """Return the next `count` bytes; a short read is a `LinkTimeout` that carries what came."""
        ...

    def discard_input(self, *, quiet: float, timeout: float = 2.0) -> bytes:
        """Throw input away until none has come for `quiet` seconds; return (the first part of) it.

        `quiet=0` throws away what is already here without waiting. Raises `LinkTimeout` if the other end
        is still talking after `timeout`.
        """
        ...

    def close(self) -> None:
        """Let the port go. Closing twice is harmless."""
        ...
