"""Scripted other ends for links: a TCP port or a pseudo-terminal that answers well or badly.

    with TcpPeer(late(b"+1.0E+00\n", 0.3)) as peer:
        link = open_link(peer.address, name="lcr-1")

A script gives the steps of the answer to each line that comes; `send`, `send_later`, `hang_up` and
`stop_taking` act without one. Each peer runs one thread of its own.
"""

import heapq
import os
import selectors
import socket
import threading
import time
import tty
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import count, repeat
from typing import Self

PATIENCE_S = 10.0
"""Longest time a test waits for what must come."""


@dataclass(frozen=True, slots=True)
class Step:
    """Send `data` so many seconds after the step before it; then hang up, if asked to."""

    after_s: float
    data: bytes
    hang_up: bool = False


Script = Callable[[bytes], Iterable[Step]]
"""From a program message without terminator to the steps of its answer, taken one by one."""


def silent() -> Script:
    """Answer nothing."""
    return lambda _message: ()


def answering(reply: bytes) -> Script:
    """Answer each message with `reply`, at once."""
    return lambda _message: (Step(0.0, reply),)


def canned(replies: Mapping[bytes, bytes]) -> Script:
    """Answer each message with its own reply, and unknown ones not at all."""

    def script(message: bytes) -> Iterable[Step]:
        return (Step(0.0, replies[message]),) if message in replies else ()

    return script


def late(reply: bytes, after_s: float) -> Script:
    """Answer after `after_s`."""
    return lambda _message: (Step(after_s, reply),)


def split(reply: bytes, at: int, gap_s: float) -> Script:
    """Answer in two parts, cut before byte `at`, `gap_s` apart."""
    return lambda _message: (Step(0.0, reply[:at]), Step(gap_s, reply[at:]))


def doubled(reply: bytes, *, gap_s: float = 0.0) -> Script:
    """Answer twice."""
    return lambda _message: (Step(0.0, reply), Step(gap_s, reply))


def dripping(data: bytes, gap_s: float) -> Script:
    """Answer byte by byte."""
    return lambda _message: (Step(gap_s, data[at : at + 1]) for at in range(len(data)))


def garbled(reply: bytes) -> Script:
    """Answer with the middle byte's highest bit set: no longer ASCII."""
    middle = len(reply) // 2
    wrong = reply[:middle] + bytes([reply[middle] | 0x80]) + reply[middle + 1 :]
    return lambda _message: (Step(0.0, wrong),)


def closing(reply: bytes) -> Script:
    """Answer with `reply`, whole or a part or nothing, and hang up."""
    return lambda _message: (Step(0.0, reply, hang_up=True),)


def babbling(line: bytes, gap_s: float) -> Script:
    """Answer with `line` again and again, without an end."""
    return lambda _message: repeat(Step(gap_s, line))


class Peer:
    """What TCP and pseudo-terminal peers have in common. A context manager: leaving it ends everything."""

    address: str

    def __init__(self, script: Script | None = None) -> None:
        self._script = script or silent()
        self._selector = selectors.DefaultSelector()
        self._wake_out, self._wake_in = socket.socketpair()
        self._wake_in.setblocking(False)
        self._orders: deque[Callable[[], None]] = deque()
        self._due: list[tuple[float, int, Step, Iterator[Step]]] = []
        self._order_number = count()
        self._came = threading.Condition()
        self._received = b""
        self._line = b""
        self._unsent = b""
        self._running = True
        self._selector.register(self._wake_in, selectors.EVENT_READ, self._drain_wake)
        self._thread = threading.Thread(target=self._run, name=type(self).__name__, daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_error: object) -> None:
        self._post(self._end)
        self._thread.join(PATIENCE_S)
        self._wake_out.close()
        self._wake_in.close()
        self._selector.close()

    def send(self, data: bytes) -> None:
        """Send `data` now."""
        self.send_later(0.0, data)

    def send_later(self, seconds: float, data: bytes) -> None:
        """Send `data` in so many seconds."""
        self._post(lambda: self._schedule(iter((Step(seconds, data),))))

    def play(self, steps: Iterable[Step]) -> None:
        """Play `steps`, the first one's time counted from now."""
        self._post(lambda: self._schedule(iter(steps)))

    def hang_up(self) -> None:
        """Close the line, as a pulled plug does."""
        self._post(self._close_line)

    def stop_taking(self) -> None:
        """Take no more bytes: the writer's buffers fill up. Returns when it has stopped."""
        done = threading.Event()
        self._post(self._pause)
        self._post(done.set)
        done.wait(PATIENCE_S)

    def received(self, size: int) -> bytes:
        """Wait until `size` bytes have come at least, and return all that have."""
        with self._came:
            if not self._came.wait_for(lambda: len(self._received) >= size, PATIENCE_S):
                raise TimeoutError(f"peer waited for {size} bytes; received {self._received!r}")
            return self._received

    def _post(self, order: Callable[[], None]) -> None:
        self._orders.append(order)
        self._wake_out.send(b"!")

    def _run(self) -> None:
        while self._running:
            timeout = max(0.0, self._due[0][0] - time.monotonic()) if self._due else None
            for key, _ in self._selector.select(timeout):
                key.data()
            while self._orders:
                self._orders.popleft()()
            self._fire_due()

    def _drain_wake(self) -> None:
        self._wake_in.recv(4096)

    def _schedule(self, steps: Iterator[Step]) -> None:
        for step in steps:
            heapq.heappush(self._due, (time.monotonic() + step.after_s, next(self._order_number), step, steps))
            return

    def _fire_due(self) -> None:
        while self._running and self._due and self._due[0][0] <= time.monotonic():
            _, _, step, rest = heapq.heappop(self._due)
            self._put(step.data)
            if step.hang_up:
                self._close_line()
                return
            self._schedule(rest)

    def _take(self, data: bytes) -> None:
        with self._came:
            self._received += data
            self._came.notify_all()
        *lines, self._line = (self._line + data.replace(b"\r", b"\n")).split(b"\n")
        for line in filter(None, lines):
            self._schedule(iter(self._script(line)))

    def _put(self, data: bytes) -> None:
        raise NotImplementedError

    def _pause(self) -> None:
        raise NotImplementedError

    def _close_line(self) -> None:
        raise NotImplementedError

    def _end(self) -> None:
        self._running = False
        self._close_line()


class TcpPeer(Peer):
    """A TCP port on the loopback address, one client at a time."""

    def __init__(self, script: Script | None = None) -> None:
        super().__init__(script)
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self.address = f"TCPIP::127.0.0.1::{self.port}::SOCKET"
        self._client: socket.socket | None = None
        self._selector.register(self._listener, selectors.EVENT_READ, self._accept)

    def _accept(self) -> None:
        client, _ = self._listener.accept()
        client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._close_line()
        self._client = client
        self._selector.register(client, selectors.EVENT_READ, self._read)

    def _read(self) -> None:
        if self._client is None:
            return
        try:
            data = self._client.recv(65_536)
        except OSError:
            data = b""
        if data:
            self._take(data)
        else:
            self._close_line()

    def _put(self, data: bytes) -> None:
        # Patience, then give up: a client that does not read must not hold a test.
        if self._client is None:
            return
        self._client.settimeout(PATIENCE_S)
        try:
            self._client.sendall(data)
        except OSError:
            self._close_line()

    def _pause(self) -> None:
        if self._client is not None:
            self._selector.unregister(self._client)

    def _close_line(self) -> None:
        self._due.clear()
        client, self._client = self._client, None
        if client is not None:
            if client in self._selector.get_map():
                self._selector.unregister(client)
            client.close()

    def _end(self) -> None:
        super()._end()
        self._selector.unregister(self._listener)
        self._listener.close()


class PtyPeer(Peer):
    """A pseudo-terminal. Its slave end stays open here, or its master would fail between clients."""

    def __init__(self, script: Script | None = None) -> None:
        super().__init__(script)
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.device = os.ttyname(self._slave)
        self.address = f"ASRL{self.device}::INSTR"
        self._open = True
        self._selector.register(self._master, selectors.EVENT_READ, self._read)

    def _read(self) -> None:
        try:
            self._take(os.read(self._master, 65_536))
        except BlockingIOError:
            return

    def _put(self, data: bytes) -> None:
        deadline_s = time.monotonic() + PATIENCE_S
        while self._open and data and time.monotonic() < deadline_s:
            try:
                data = data[os.write(self._master, data) :]
            except BlockingIOError:
                time.sleep(0.001)

    def _pause(self) -> None:
        self._selector.unregister(self._master)

    def _close_line(self) -> None:
        self._due.clear()
        if self._open:
            self._open = False
            if self._master in self._selector.get_map():
                self._selector.unregister(self._master)
            os.close(self._master)
            os.close(self._slave)
