"""Instruments behind links in the same thread, on a manual clock that jumps to the next due byte.

A thousand measurements take hundredths of a second and always happen in the same order.
"""

from collections.abc import Mapping
from threading import get_ident

from drivers.clock import ManualClock
from drivers.errors import LinkClosed, LinkError, LinkOpenError, LinkTimeout, ReplyError
from drivers.link import MESSAGE_LIMIT
from drivers.stop import StopToken
from sim.hosts.schedule import Schedule
from sim.instrument import Emission, SimulatedInstrument

INPUT_LIMIT = 1_048_576
"""Bytes that a link holds for a client who does not read; what comes on top is lost, as on a serial port."""

_KEPT_BYTES = 4096


class MemoryHost:
    """Serves the instruments of one bench to links in the clock's own thread."""

    def __init__(
        self,
        instruments: Mapping[str, SimulatedInstrument],
        clock: ManualClock,
        *,
        stop: StopToken | None = None,
    ) -> None:
        self.clock = clock
        self.stop = stop or StopToken()
        self._instruments = dict(instruments)
        self.schedule = Schedule(self._instruments.values(), self._deliver)
        self._links: dict[str, MemoryLink] = {}

    def link(self, name: str) -> "MemoryLink":
        """Open the line to an instrument; `LinkOpenError` if there is none or somebody holds it."""
        instrument = self._instruments.get(name)
        if instrument is None:
            known = ", ".join(sorted(self._instruments))
            raise LinkOpenError(f"{name}: could not be opened: no such instrument here. There are {known}.")
        if name in self._links:
            raise LinkOpenError(
                f"{name}: could not be opened: it is open already. Close the other link first."
            )
        now_s = self.clock.monotonic()
        self.run_to(now_s)
        link = MemoryLink(self, instrument)
        self._links[name] = link
        instrument.connect(now_s)
        self.schedule.note(instrument)
        return link

    def run_to(self, now_s: float) -> None:
        """Let all that is due by `now_s` happen, in order of time over all instruments."""
        if self.schedule.earliest_s <= now_s:
            self.schedule.run_to(now_s)

    def look(self) -> None:
        """Ask all instruments when they are due: one was given something to do otherwise than by its line."""
        self.schedule.note_all()

    def _deliver(self, instrument: SimulatedInstrument, emission: Emission) -> None:
        link = self._links.get(instrument.name)
        if link is None:
            return
        link.take(emission.data)
        if emission.hang_up:
            link.hang_up()
            self.forget(instrument)

    def forget(self, instrument: SimulatedInstrument) -> None:
        """Note that a link is closed, by whichever side."""
        if self._links.pop(instrument.name, None) is not None:
            instrument.disconnect(self.clock.monotonic())
            self.schedule.note(instrument)


class MemoryLink:
    """A link to one instrument of a `MemoryHost`; obeys `drivers.link.Link`."""

    def __init__(self, host: MemoryHost, instrument: SimulatedInstrument) -> None:
        self.name = f"{instrument.name} (memory)"
        self._host = host
        self._schedule = host.schedule
        self._clock = host.clock
        self._stop = host.stop
        self._instrument = instrument
        self._thread = get_ident()
        self._buffer = b""
        self._asked = b""
        self._closed = ""

    # For the host.

    def take(self, data: bytes) -> None:
        """Receive bytes from the instrument."""
        if len(self._buffer) < INPUT_LIMIT:
            self._buffer += data

    def hang_up(self) -> None:
        """The instrument's side has closed."""
        self._closed = "the other end closed"

    # The link.

    def write(self, data: bytes) -> None:
        """Send all of `data`."""
        now_s = self._begin()
        self._asked = data
        if self._closed:
            raise self._gone()
        self._instrument.receive(data, now_s)
        self._schedule.note(self._instrument)

    def read_until(self, terminator: bytes, *, timeout: float, limit: int = MESSAGE_LIMIT) -> bytes:
        """Return the next message without its terminator; see `drivers.link.Link` for what is raised."""
        if not terminator:
            raise ValueError("a terminator must have at least one byte; got none")
        now_s = self._begin()
        deadline_s = now_s + timeout
        while (end := self._buffer.find(terminator)) < 0:
            if len(self._buffer) >= limit + len(terminator):
                raise self._too_long(terminator, limit)
            if not self._wait_for_more(deadline_s):
                raise self._not_complete("complete reply", timeout)
        if end > limit:
            raise self._too_long(terminator, limit)
        message = self._buffer[:end]
        self._buffer = self._buffer[end + len(terminator) :]
        return message

    def read_exactly(self, count: int, *, timeout: float) -> bytes:
        """Return the next `count` bytes; a short read is a `LinkTimeout` that carries what came."""
        now_s = self._begin()
        deadline_s = now_s + timeout
        while len(self._buffer) < count:
            if not self._wait_for_more(deadline_s):
                raise self._not_complete(f"{count} bytes", timeout)
        data = self._buffer[:count]
        self._buffer = self._buffer[count:]
        return data

    def discard_input(self, *, quiet: float, timeout: float = 2.0) -> bytes:
        """Throw input away until none has come for `quiet` seconds; return the first 4096 bytes of it."""
        now_s = self._begin()
        deadline_s = now_s + timeout
        kept = self._empty()
        silent_until_s = now_s + quiet
        while quiet > 0 and self._wait_for_more(silent_until_s):
            kept += self._empty()[: _KEPT_BYTES - len(kept)]
            now_s = self._clock.monotonic()
            if now_s >= deadline_s:
                raise LinkTimeout(
                    f"{self.name}: asked for silence, still sending after {timeout * 1e3:.0f} ms; received "
                    f"{kept[:60]!r}. Switch the instrument off and on, then retry.",
                    partial=kept,
                )
            silent_until_s = now_s + quiet
        if self._closed:
            raise self._gone()
        return kept

    def close(self) -> None:
        """Let the line go. Closing twice is harmless."""
        if self._closed:
            return
        self._closed = "this link was closed on our side"
        self._buffer = b""
        self._host.run_to(self._clock.monotonic())
        self._host.forget(self._instrument)

    def _begin(self) -> float:
        if get_ident() != self._thread:
            raise LinkError(
                f"{self.name}: asked for by a second thread. Only the nest's thread may use a link."
            )
        self._stop.check()
        if self._closed and self._closed.startswith("this"):
            raise self._gone()
        now_s = self._clock.monotonic()
        if self._schedule.earliest_s <= now_s:
            self._schedule.run_to(now_s)
        return now_s

    def _empty(self) -> bytes:
        data, self._buffer = self._buffer, b""
        return data

    def _wait_for_more(self, deadline_s: float) -> bool:
        """Jump from event to event until bytes have come; False, at the deadline, if none have."""
        schedule, clock = self._schedule, self._clock
        seen = len(self._buffer)
        while True:
            if self._closed:
                raise self._gone()
            due_s = schedule.earliest_s
            if due_s > deadline_s:
                clock.advance_to(deadline_s)
                return False
            clock.advance_to(due_s)
            schedule.run_to(due_s)
            self._stop.check()
            if len(self._buffer) > seen:
                return True

    def _gone(self) -> LinkClosed:
        return LinkClosed(
            f"{self.name}: {self._closed}{self._to_what(' after')}; received {self._buffer[:60]!r}. "
            "Check the instrument and its cable, then open it again."
        )

    def _not_complete(self, wanted: str, timeout: float) -> LinkTimeout:
        return LinkTimeout(
            f"{self.name}: no {wanted}{self._to_what(' to')} within {timeout * 1e3:.0f} ms; received "
            f"{self._buffer[:60]!r}. Check the cable and that the instrument is on, then retry.",
            partial=self._buffer,
        )

    def _too_long(self, terminator: bytes, limit: int) -> ReplyError:
        return ReplyError(
            f"{self.name}: the reply{self._to_what(' to')} has no terminator {terminator!r} within {limit} "
            f"bytes; received {self._buffer[:60]!r}. Check that address, speed and dialect are right.",
            received=self._buffer[:_KEPT_BYTES],
        )

    def _to_what(self, joint: str) -> str:
        return f"{joint} {self._asked.rstrip()[:60].decode('ascii', 'replace')!r}" if self._asked else ""
