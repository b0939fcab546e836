"""TCP by the standard library: the route of `TCPIP::host::port::SOCKET`.

pyvisa-py spins on a closed peer and never enforces a deadline on a drip; here both are one typed error.
"""

import errno
import os
import socket
import time

from drivers.errors import LinkOpenError
from drivers.links.ready import wait_for_input, wait_for_room
from drivers.links.stream import (
    GONE_ERRNO,
    SLICE_S,
    WRITE_TIMEOUT_S,
    PortBroken,
    PortClosed,
    StreamLink,
)
from drivers.stop import StopToken

_CHUNK_BYTES = 16_384


def open_socket(
    host: str,
    port: int,
    *,
    name: str,
    open_timeout: float = 2.0,
    write_timeout: float = WRITE_TIMEOUT_S,
    stop: StopToken | None = None,
) -> StreamLink:
    """Return a link to `host`:`port`, connected. Times in s.

    Raises:
        LinkOpenError: nobody answers there within `open_timeout`, or the connection is refused.
        Stopped: a stop came meanwhile.
    """
    stop = stop or StopToken()
    sock = _connect(host, port, name, open_timeout, stop)
    return StreamLink(SocketPort(sock), name=name, write_timeout=write_timeout, stop=stop)


class SocketPort:
    """A connected socket as a port of a `StreamLink`. Owns the socket."""

    slice_s = SLICE_S

    def __init__(self, sock: socket.socket) -> None:
        # Without it a query after two writes waits 44 ms for the other end's delayed acknowledge (measured).
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        # One time-out for good: setting it each time is a system call more.
        sock.settimeout(SLICE_S)
        self._sock = sock
        self._wait_for_input = wait_for_input(sock.fileno())

    def receive(self, wait_s: float) -> bytes:
        """Return what has come within `wait_s`."""
        if wait_s < SLICE_S and not self._wait_for_input(wait_s):
            return b""
        try:
            chunk = self._sock.recv(_CHUNK_BYTES)
        except TimeoutError:
            return b""
        except OSError as error:
            raise _mapped(error) from error
        if not chunk:
            raise PortClosed("end of stream")
        return chunk

    def send(self, data: bytes, wait_s: float) -> int:
        """Send what is taken; waits up to `SLICE_S`."""
        try:
            return self._sock.send(data)
        except TimeoutError:
            return 0
        except OSError as error:
            raise _mapped(error) from error

    def clear_input(self, quiet_s: float) -> bool:
        """Leave it to reading until quiet: bytes may still be on their way."""
        return False

    def close(self) -> None:
        """Close the socket."""
        self._sock.close()


def _mapped(error: OSError) -> PortClosed | PortBroken:
    kind = PortClosed if error.errno in GONE_ERRNO else PortBroken
    return kind(error.strerror or str(error))


def _connect(host: str, port: int, name: str, open_timeout: float, stop: StopToken) -> socket.socket:
    """Try each address of `host` until one answers."""
    deadline_s = time.monotonic() + open_timeout
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except OSError as error:
        raise _not_open(name, error.strerror or str(error)) from error
    reason = "no address"
    for family, kind, protocol, _, address in found:
        sock = socket.socket(family, kind, protocol)
        try:
            reason = _connected(sock, address, deadline_s, stop)
        except BaseException:
            sock.close()
            raise
        if not reason:
            return sock
        sock.close()
    raise _not_open(name, reason)


def _connected(sock: socket.socket, address: object, deadline_s: float, stop: StopToken) -> str:
    """Connect; return why it did not work, or nothing. Looks at the stop, which `socket.connect` cannot."""
    sock.setblocking(False)
    code = sock.connect_ex(address)  # type: ignore[arg-type]
    if code not in (0, errno.EINPROGRESS):
        return os.strerror(code)
    wait = wait_for_room(sock.fileno())
    while True:
        stop.check()
        left_s = deadline_s - time.monotonic()
        if wait(min(max(left_s, 0.0), SLICE_S)):
            code = sock.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
            return os.strerror(code) if code else ""
        if left_s <= 0:
            return "no answer in time"


def _not_open(name: str, reason: str) -> LinkOpenError:
    return LinkOpenError(
        f"{name}: could not be opened: {reason}. "
        "Check that the instrument is on, the address is right and no other program holds it."
    )
