"""The link over any port that moves bytes: deadlines, limits, one user, stop.

A port (socket, VISA, serial) only receives and sends what is possible at once; everything that the contract
of `drivers.link.Link` promises is kept here, once for all routes.

An incomplete message stays in the link's buffer: a later read never hands out the tail of a message as if it
were one. `discard_input` takes it away.
"""

import errno
import threading
import time
from types import TracebackType
from typing import Protocol

from drivers.errors import LinkClosed, LinkError, LinkTimeout, ReplyError
from drivers.link import MESSAGE_LIMIT
from drivers.stop import POLL_S, StopToken

SLICE_S = POLL_S / 2
"""Longest single wait inside a port, in s: half of what the stop may take to be noticed."""

WRITE_TIMEOUT_S = 1.0
"""Longest write, in s: with the drive on no single exchange of bytes may take longer."""

_KEPT_BYTES = 4096
"""How much of the discarded input is handed back: enough to see what it was."""
_PIECES_BEFORE_BREATH = 16
_DRIBLET_BYTES = 64
_BREATH_S = 0.002
"""Pause between the pieces of a message that comes in driblets: caps the wake-ups at about 500 a second."""
_SHOWN_BYTES = 60


GONE_ERRNO = frozenset(
    {
        errno.EBADF,
        errno.ECONNABORTED,
        errno.ECONNRESET,
        errno.EHOSTUNREACH,
        errno.EIO,
        errno.ENETDOWN,
        errno.ENETRESET,
        errno.ENETUNREACH,
        errno.ENODEV,
        errno.ENOTCONN,
        errno.ENXIO,
        errno.EPIPE,
        errno.ETIMEDOUT,
    }
)
"""What the operating system says when a peer or a port is gone."""


class PortClosed(Exception):
    """Raised by a port when the other end is gone; the link makes a `LinkClosed` of it."""


class PortBroken(Exception):
    """Raised by a port for any other failure; the link makes a `LinkError` of it."""


class PortStuck(Exception):
    """Raised by a port that waits by itself when a message was not taken: a `LinkTimeout` of the link."""


class Port(Protocol):
    """What a route has to offer. Its calls may raise `PortClosed`, `PortBroken` or (sending) `PortStuck`."""

    slice_s: float
    """Longest wait it is given, in s: `SLICE_S` where it can give way to the stop."""

    def receive(self, wait_s: float) -> bytes:
        """Return what has come; wait up to `wait_s` for the first byte; b"" for none."""
        ...

    def send(self, data: bytes, wait_s: float) -> int:
        """Send what is taken within `wait_s`; return the number of bytes, 0 for none."""
        ...

    def clear_input(self, quiet_s: float) -> bool:
        """Empty the other end's output if there is a better way than reading until quiet; tell whether."""
        ...

    def close(self) -> None:
        """Let the port go."""
        ...


class StreamLink:
    """A `Link` over a `Port`, in real time."""

    def __init__(
        self,
        port: Port,
        *,
        name: str,
        write_timeout: float = WRITE_TIMEOUT_S,
        stop: StopToken | None = None,
    ) -> None:
        self.name = name
        self._port: Port | None = port
        self._slice_s = port.slice_s
        self._write_timeout_s = write_timeout
        self._stop = stop or StopToken()
        self._turn = _Turn(name)
        self._buffer = b""
        self._asked = b""

    def write(self, data: bytes) -> None:
        """Send all of `data`; raises `LinkTimeout` if it is not taken within the write timeout."""
        with self._turn:
            self._stop.check()
            self._asked = data
            sent = self._send(data, 0.0)
            if sent < len(data):
                self._write_rest(data, sent)

    def read_until(self, terminator: bytes, *, timeout: float, limit: int = MESSAGE_LIMIT) -> bytes:
        """Return the next message without its terminator; see `drivers.link.Link` for what is raised."""
        if not terminator:
            raise ValueError("a terminator must have at least one byte; got none")
        with self._turn:
            self._stop.check()
            end = self._buffer.find(terminator)
            if end < 0:
                end = self._wait_for(terminator, timeout, limit)
            if end > limit:
                raise self._too_long(terminator, limit)
            message = self._buffer[:end]
            self._buffer = self._buffer[end + len(terminator) :]
            return message

    def read_exactly(self, count: int, *, timeout: float) -> bytes:
        """Return the next `count` bytes; raises `LinkTimeout` with what came if they are not here in time."""
        with self._turn:
            self._stop.check()
            deadline_s = time.monotonic() + timeout
            overdue, pieces = False, 0
            while len(self._buffer) < count:
                if overdue:
                    raise self._not_complete(f"{count} bytes", timeout)
                overdue = self._receive_more(deadline_s, pieces)
                pieces += 1
            data = self._buffer[:count]
            self._buffer = self._buffer[count:]
            return data

    def discard_input(self, *, quiet: float, timeout: float = 2.0) -> bytes:
        """Throw input away until none has come for `quiet` seconds; return the first 4096 bytes of it.

        A silence that began before `timeout` is waited out, so the call takes `timeout + quiet` at most.
        """
        with self._turn:
            self._stop.check()
            kept, self._buffer = self._buffer[:_KEPT_BYTES], b""
            if self._open_port().clear_input(quiet):
                return kept
            now_s = time.monotonic()
            deadline_s, silent_until_s = now_s + timeout, now_s + quiet
            while True:
                left_s = silent_until_s - time.monotonic()
                chunk = self._receive(min(max(left_s, 0.0), self._slice_s))
                if not chunk:
                    if left_s <= 0:
                        return kept
                    continue
                kept += chunk[: _KEPT_BYTES - len(kept)]
                now_s = time.monotonic()
                if now_s >= deadline_s:
                    raise self._still_talking(timeout, kept)
                silent_until_s = now_s + quiet
                time.sleep(_BREATH_S)

    def close(self) -> None:
        """Let the port go. Closing twice is harmless; while another thread is inside a call: `LinkError`."""
        with self._turn:
            port, self._port = self._port, None
            self._buffer = b""
            if port is not None:
                port.close()

    def _write_rest(self, data: bytes, sent: int) -> None:
        deadline_s = time.monotonic() + self._write_timeout_s
        while sent < len(data):
            left_s = deadline_s - time.monotonic()
            if left_s <= 0:
                raise self._not_taken(f"{sent} of {len(data)} bytes went")
            self._stop.check()
            sent += self._send(data[sent:], min(left_s, self._slice_s))

    def _wait_for(self, terminator: bytes, timeout: float, limit: int) -> int:
        deadline_s = time.monotonic() + timeout
        overdue, pieces, end = False, 0, -1
        while end < 0:
            if overdue:
                raise self._not_complete("complete reply", timeout)
            if len(self._buffer) >= limit + len(terminator):
                raise self._too_long(terminator, limit)
            seen = len(self._buffer)
            overdue = self._receive_more(deadline_s, pieces)
            pieces += 1
            end = self._buffer.find(terminator, max(0, seen + 1 - len(terminator)))
        return end

    def _receive_more(self, deadline_s: float, pieces: int) -> bool:
        """Receive once; tell whether the deadline has passed.

        Once it has passed, what lies ready is still taken, one time: a busy computer is no late instrument.
        """
        left_s = deadline_s - time.monotonic()
        dribbles = pieces > _PIECES_BEFORE_BREATH and len(self._buffer) < pieces * _DRIBLET_BYTES
        if dribbles and left_s > _BREATH_S:
            time.sleep(_BREATH_S)
        if pieces:
            self._stop.check()
        chunk = self._receive(min(max(left_s, 0.0), self._slice_s))
        if chunk:
            self._buffer = self._buffer + chunk if self._buffer else chunk
        return left_s <= 0

    def _receive(self, wait_s: float) -> bytes:
        port = self._open_port()
        try:
            chunk = port.receive(wait_s)
        except PortClosed as error:
            raise self._gone(error) from error
        except PortBroken as error:
            raise self._broken(error) from error
        if not chunk:
            self._stop.check()
        return chunk

    def _send(self, data: bytes, wait_s: float) -> int:
        port = self._open_port()
        try:
            return port.send(data, wait_s)
        except PortStuck as error:
            raise self._not_taken("a part of it may have gone") from error
        except PortClosed as error:
            raise self._gone(error) from error
        except PortBroken as error:
            raise self._broken(error) from error

    def _not_complete(self, wanted: str, timeout: float) -> LinkTimeout:
        partial = self._buffer
        return LinkTimeout(
            f"{self.name}: no {wanted}{self._to_what()} within {timeout * 1e3:.0f} ms; "
            f"received {_came(partial)}. Check the cable and that the instrument is on, then retry.",
            partial=partial,
        )

    def _not_taken(self, went: str) -> LinkTimeout:
        return LinkTimeout(
            f"{self.name}: {_shown(self._asked)} was not taken within {self._write_timeout_s * 1e3:.0f} ms; "
            f"{went}. Check that the instrument is on and not in a menu, then retry."
        )

    def _too_long(self, terminator: bytes, limit: int) -> ReplyError:
        return ReplyError(
            f"{self.name}: the reply{self._to_what()} has no terminator {terminator!r} within {limit} bytes; "
            f"received {_came(self._buffer)}. Check that the address, the speed and the dialect are right.",
            received=self._buffer[:_KEPT_BYTES],
        )

    def _still_talking(self, timeout: float, kept: bytes) -> LinkTimeout:
        return LinkTimeout(
            f"{self.name}: asked for silence{self._to_what(' after')}, still sending after "
            f"{timeout * 1e3:.0f} ms; received {_came(kept)}. Switch the instrument off and on, then retry.",
            partial=kept,
        )

    def _gone(self, error: PortClosed) -> LinkClosed:
        return LinkClosed(
            f"{self.name}: the other end closed{self._to_what(' after')} ({error}); "
            f"received {_came(self._buffer)}. Check the instrument and its cable, then open it again."
        )

    def _broken(self, error: PortBroken) -> LinkError:
        return LinkError(
            f"{self.name}: the port failed{self._to_what(' after')}: {error}. "
            "Check the instrument and its cable, then open it again."
        )

    def _open_port(self) -> Port:
        if self._port is None:
            raise LinkClosed(
                f"{self.name}: bytes asked for{self._to_what(' after')}, but this link was closed on our "
                "side. Open it again."
            )
        return self._port

    def _to_what(self, joint: str = " to") -> str:
        return f"{joint} {_shown(self._asked)}" if self._asked else ""


class _Turn:
    """Lets one thread in; a second one is told, not queued: two on one link take each other's replies."""

    __slots__ = ("_lock", "_name")

    def __init__(self, name: str) -> None:
        self._lock = threading.Lock()
        self._name = name

    def __enter__(self) -> None:
        if not self._lock.acquire(False):
            raise LinkError(
                f"{self._name}: asked for by a second thread while the first is using it. "
                "Only the nest's thread may use a link."
            )

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._lock.release()


def _shown(data: bytes) -> str:
    """Return a message sent as a person reads it: no terminator, the end of a long one left out."""
    return _shortened(data.rstrip(b"\r\n"))[1:]


def _came(data: bytes) -> str:
    """Return what was received, to the byte; the end of a long one is left out."""
    return _shortened(data) if data else "nothing"


def _shortened(data: bytes) -> str:
    if len(data) <= _SHOWN_BYTES:
        return repr(data)
    return f"{data[: _SHOWN_BYTES - 10]!r}... ({len(data)} bytes)"
