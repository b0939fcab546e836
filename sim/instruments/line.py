"""What all simulated instruments share: messages in order, work that takes time, replies when due.

Not imitated: the time that bytes need on a serial line, character-by-character echo, flow control.
"""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from heapq import heappop, heappush
from math import inf
from typing import NamedTuple

from sim.instrument import Emission
from sim.world import World

BUFFER_LIMIT = 65_536
"""What a client sends without a terminator beyond this is thrown away."""


@dataclass(slots=True)
class Impairments:
    """What a scripted fault has done to an instrument for good or for a number of readings."""

    identity: str = ""
    overload_left: int = 0
    frozen: bool = False
    drift_per_h: float = 0.0
    stuck: bool = False
    """The relay (fixture) or the output (source) stays where it is, whatever is ordered and reported."""


Finish = Callable[[float], bytes]
"""Ends a piece of work at the given time and returns the response message, or nothing."""


class Work(NamedTuple):
    """What a program message starts: it takes `seconds`, then `finish` answers."""

    seconds: float
    finish: Finish


_Entry = tuple[float, int, int, Finish]
"""When, a running number (so that a tie keeps its order), the session that asked, what to do."""

_Message = tuple[float, int, bytes]
"""When it arrived, the session that sent it, the message without its terminator."""


class LineInstrument:
    """Takes terminated messages one after the other; each may take time and may be answered.

    A subclass gives `execute`. Work that was begun is ended and messages that had come whole are carried out
    even if the client has gone meanwhile; only the answers are lost.
    """

    terminator = b"\n"
    unasked = False
    """True for an instrument that talks by itself and takes no commands."""

    def __init__(self, name: str, world: World, identity: str) -> None:
        self.name = name
        self.world = world
        self.identity = identity
        self.impairments = Impairments()
        self._buffer = b""
        self._inbox: deque[_Message] = deque()
        self._agenda: list[_Entry] = []
        self._out: list[Emission] = []
        self._free_s = 0.0
        self._session = 0
        self._number = 0
        self._last_readings: dict[str, tuple[float, ...]] = {}

    def execute(self, line: bytes, now_s: float) -> Work | None:
        """Carry out one message without its terminator; return the work that it starts, if any."""
        raise NotImplementedError

    def urgent(self, line: bytes) -> bool:
        """Tell whether a message is carried out at once, before those that wait."""
        return False

    def mend(self) -> None:
        """Take away what scripted faults have done to it."""
        self.impairments = Impairments()

    # The protocol of a simulated instrument.

    def connect(self, now_s: float) -> None:
        """A client has opened the line."""
        self._session += 1
        self._buffer = b""
        self._out = []

    def disconnect(self, now_s: float) -> None:
        """The client has gone. What was not sent yet is lost."""
        self._session += 1
        self._buffer = b""
        self._out = []

    def receive(self, data: bytes, now_s: float) -> None:
        """Take bytes from the client, in pieces of any size."""
        if self._agenda or self._inbox:
            self._run_to(now_s)
        *lines, tail = (self._buffer + data).split(self.terminator)
        self._buffer = tail if len(tail) <= BUFFER_LIMIT else b""
        for line in lines:
            if self.urgent(line):
                self.world.advance(now_s)
                self._start(line, now_s, self._session, urgent=True)
            else:
                self._inbox.append((now_s, self._session, line))
        self._run_to(now_s)

    def advance(self, now_s: float) -> list[Emission]:
        """Let time pass to `now_s`; return what is due by then."""
        self._run_to(now_s)
        out = self._out
        if out:
            self._out = []
        return out

    def next_due(self) -> float | None:
        """Return when something next happens by itself."""
        if self._out:
            return self._out[0].time_s
        ends_s = self._agenda[0][0] if self._agenda else None
        if not self._inbox:
            return ends_s
        begins_s = max(self._inbox[0][0], self._free_s)
        return begins_s if ends_s is None else min(ends_s, begins_s)

    # For subclasses.

    def schedule(self, time_s: float, finish: Finish) -> None:
        """Have `finish` called at `time_s`; what it returns is sent, if the client is still there."""
        self._number += 1
        heappush(self._agenda, (time_s, self._number, self._session, finish))

    def shown_identity(self) -> str:
        """Return who the instrument says it is."""
        return self.impairments.identity or self.identity

    def report_error(self, code: int, text: str) -> None:
        """Put an error where the instrument keeps its errors; one that keeps none forgets it."""

    def overloaded(self) -> bool:
        """Tell whether a scripted overload spoils this reading, and count it."""
        if not self.impairments.overload_left:
            return False
        self.impairments.overload_left -= 1
        return True

    def reading(self, channel: str, *values: float) -> tuple[float, ...]:
        """Return what the instrument shows for fresh values: drifted, or the last ones if it is frozen."""
        if self.impairments.frozen and channel in self._last_readings:
            return self._last_readings[channel]
        if self.impairments.drift_per_h:
            factor = 1.0 + self.impairments.drift_per_h * self.world.now_s / 3600.0
            values = tuple(value * factor for value in values)
        self._last_readings[channel] = values
        return values

    # Inside.

    def _run_to(self, now_s: float) -> None:
        """Carry out what is due by `now_s`; what was begun before ends before the next message begins."""
        world, agenda, inbox = self.world, self._agenda, self._inbox
        while agenda or inbox:
            ends_s = agenda[0][0] if agenda else inf
            begins_s = max(inbox[0][0], self._free_s) if inbox else inf
            time_s = ends_s if ends_s <= begins_s else begins_s
            if time_s > now_s:
                break
            if time_s > world.now_s:
                world.advance(time_s)
            if time_s == ends_s:
                _, _, session, finish = heappop(agenda)
                data = finish(time_s)
                if data and session == self._session:
                    self._out.append(Emission(time_s, data))
            else:
                _, session, line = inbox.popleft()
                self._start(line, time_s, session)
        if now_s > world.now_s:
            world.advance(now_s)

    def _start(self, line: bytes, time_s: float, session: int, *, urgent: bool = False) -> None:
        work = self.execute(line, time_s)
        if work is None:
            return
        done_s = time_s + work.seconds
        if not urgent:
            self._free_s = done_s
        self._number += 1
        heappush(self._agenda, (done_s, self._number, session, work.finish))
