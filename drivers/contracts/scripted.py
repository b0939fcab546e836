"""A link in memory with scripted faults, in simulated time: what a driver is put to the test with.

It moves the bytes of a sans-I/O instrument (`Peer`) and spoils one response, or loses one program message,
at a stated place. It keeps the contract of `drivers.link.Link`. What it does not imitate: a write that is
not taken, use by two threads.
"""

from collections import deque
from collections.abc import Callable, Sequence
from typing import Protocol

from drivers.clock import ManualClock
from drivers.errors import LinkClosed, LinkTimeout, ReplyError
from drivers.link import MESSAGE_LIMIT

Delivery = tuple[float, bytes | None]
"""When some bytes arrive, in s of the clock, and which; None: the other end hangs up."""

Fault = Callable[[float, bytes], list[Delivery]]
"""Makes of a response message (time, bytes with terminator) what arrives in its place."""


class Sent(Protocol):
    """Bytes that leave a peer."""

    @property
    def time_s(self) -> float:
        """When they leave."""
        ...

    @property
    def data(self) -> bytes:
        """What leaves."""
        ...

    @property
    def hang_up(self) -> bool:
        """Whether the peer closes the connection after them."""
        ...


class Peer(Protocol):
    """A sans-I/O instrument at the other end."""

    def receive(self, data: bytes, now_s: float) -> None:
        """Take bytes from the driver."""
        ...

    def advance(self, now_s: float) -> Sequence[Sent]:
        """Let time pass; return what left by then, one response message each."""
        ...

    def next_due(self) -> float | None:
        """Return when something leaves next; None for never."""
        ...


class ScriptedLink:
    """A `Link` to `peer` on a manual clock, whose waits jump to the next byte."""

    def __init__(
        self, peer: Peer, clock: ManualClock, *, terminator_out: bytes, name: str = "scripted"
    ) -> None:
        self.name = name
        self.written = bytearray()
        """All bytes that the driver has sent."""
        self.responses = 0
        """Number of responses that have left the peer since `spoil`."""
        self.messages = 0
        """Number of program messages sent since `lose`."""
        self.hasty_writes = 0
        """Number of writes after a time-out without having waited for quiet first."""
        self._peer = peer
        self._clock = clock
        self._terminator_out = terminator_out
        self._arrivals: deque[Delivery] = deque()
        self._last_arrival_s = 0.0
        self._buffer = bytearray()
        self._hung_up = False
        self._closed = False
        self._silent = False
        self._timed_out = False
        self._fault: tuple[int, Fault] | None = None
        self._lost: frozenset[int] = frozenset()

    def spoil(self, response: int, fault: Fault) -> None:
        """Let `fault` make something else of the response with that number, counted from 0 from now on."""
        self._pump(self._clock.monotonic())
        self.responses = 0
        self._fault = (response, fault)

    def silence(self) -> None:
        """Let no response arrive any more."""
        self._silent = True

    def lose(self, *messages: int) -> None:
        """Let the program messages with these numbers, counted from 0 from now on, be lost on their way."""
        self.messages = 0
        self._lost = frozenset(messages)

    def write(self, data: bytes) -> None:
        """Send `data`; `LinkClosed` if the other end has hung up."""
        self._check_open()
        self.written += data
        self.hasty_writes += self._timed_out
        self._pump(self._clock.monotonic())
        *whole, rest = data.split(self._terminator_out)
        for message in whole:
            if self.messages not in self._lost:
                self._peer.receive(message + self._terminator_out, self._clock.monotonic())
            self.messages += 1
        if rest:
            self._peer.receive(rest, self._clock.monotonic())

    def read_until(self, terminator: bytes, *, timeout: float, limit: int = MESSAGE_LIMIT) -> bytes:
        """Return the next message without its terminator; errors as `Link.read_until`."""
        self._clock.sleep(0.0)
        deadline_s = self._clock.monotonic() + timeout
        while (end := self._buffer.find(terminator)) < 0 and len(self._buffer) <= limit:
            self._wait(deadline_s, f"no complete reply within {timeout * 1e3:.0f} ms")
        if not 0 <= end <= limit:
            raise ReplyError(
                f"{self.name}: a reply longer than {limit} bytes came", received=self._take(limit)
            )
        message = self._take(end)
        self._take(len(terminator))
        return message

    def read_exactly(self, count: int, *, timeout: float) -> bytes:
        """Return the next `count` bytes; errors as `Link.read_exactly`."""
        self._clock.sleep(0.0)
        deadline_s = self._clock.monotonic() + timeout
        while len(self._buffer) < count:
            self._wait(deadline_s, f"fewer than {count} bytes within {timeout * 1e3:.0f} ms")
        return self._take(count)

    def discard_input(self, *, quiet: float, timeout: float = 2.0) -> bytes:
        """Throw input away until it has been quiet; errors as `Link.discard_input`."""
        self._check_open()
        now_s = self._clock.monotonic()
        deadline_s, quiet_until_s = now_s + timeout, now_s + quiet
        self._pump(now_s)
        discarded = bytearray(self._take(len(self._buffer)))
        while quiet and self._step(min(quiet_until_s, deadline_s)):
            if self._buffer:
                discarded += self._take(len(self._buffer))
                quiet_until_s = self._clock.monotonic() + quiet
        self._check_open()
        if quiet_until_s > deadline_s:
            self._jump(deadline_s)
            raise LinkTimeout(
                f"{self.name}: still talking after {timeout:g} s", partial=bytes(discarded[:4096])
            )
        self._jump(quiet_until_s)
        self._timed_out &= not quiet
        return bytes(discarded[:4096])

    def close(self) -> None:
        """Let the link go."""
        self._closed = True

    def _take(self, count: int) -> bytes:
        taken = bytes(self._buffer[:count])
        del self._buffer[:count]
        return taken

    def _wait(self, deadline_s: float, problem: str) -> None:
        """Wait for something to arrive by the deadline; `LinkTimeout` if nothing does."""
        self._check_open()
        if not self._step(deadline_s):
            self._jump(deadline_s)
            self._timed_out = True
            came = bytes(self._buffer[:4096])
            raise LinkTimeout(
                f"{self.name}: {problem}; received {came[:60]!r}. Check the cable.", partial=came
            )
        if not self._buffer:
            self._check_open()

    def _step(self, deadline_s: float) -> bool:
        """Jump to what happens next by the deadline and let it happen; tell whether anything did."""
        times = [self._peer.next_due(), self._arrivals[0][0] if self._arrivals else None]
        due_s = min((time_s for time_s in times if time_s is not None), default=None)
        if due_s is None or due_s > deadline_s:
            return False
        self._jump(due_s)
        self._pump(due_s)
        return True

    def _pump(self, now_s: float) -> None:
        """Let the peer's bytes leave, and arrive, that are due by now."""
        for sent in self._peer.advance(now_s):
            hang_up: list[Delivery] = [(sent.time_s, None)] if sent.hang_up else []
            for time_s, data in self._spoilt(sent.time_s, sent.data) + hang_up:
                # A line keeps the order of its bytes: what follows a late response is late too.
                self._last_arrival_s = max(self._last_arrival_s, time_s)
                self._arrivals.append((self._last_arrival_s, data))
        while self._arrivals and self._arrivals[0][0] <= now_s:
            data = self._arrivals.popleft()[1]
            if data is None:
                self._hung_up = True
                self._arrivals.clear()
            elif not self._hung_up:
                self._buffer += data

    def _spoilt(self, time_s: float, data: bytes) -> list[Delivery]:
        number, self.responses = self.responses, self.responses + 1
        if self._silent:
            return []
        if self._fault is not None and self._fault[0] == number:
            return self._fault[1](time_s, data)
        return [(time_s, data)]

    def _jump(self, time_s: float) -> None:
        self._clock.sleep(0.0)  # lets the stop through
        self._clock.advance_to(time_s)

    def _check_open(self) -> None:
        self._clock.sleep(0.0)
        if self._closed or self._hung_up:
            raise LinkClosed(
                f"{self.name}: the other end has closed the connection. Check its cable, then open it anew."
            )
