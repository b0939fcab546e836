"""Process time: what a settle, a soak and a sample's time stamp are told in.

Link time (deadlines, quiet) belongs to the link and is real on real ports. `ManualClock` goes with memory
links only: it belongs to one thread and raises for any other.
"""

import time
from datetime import UTC, datetime, timedelta
from threading import get_ident
from typing import Protocol

from drivers.stop import POLL_S, StopToken

_FOREIGN_THREAD = "a manual clock belongs to the thread that made it; give each thread its own"


class Clock(Protocol):
    """What code that waits or stamps is given."""

    def monotonic(self) -> float:
        """Return seconds since an arbitrary start; never goes back."""
        ...

    def sleep(self, seconds: float) -> None:
        """Let `seconds` of process time pass; raises `Stopped` within 0.1 real seconds of a stop."""
        ...

    def utc_now(self) -> datetime:
        """Return the time of day in UTC, for records only."""
        ...


class RealClock:
    """The machine's clock. `speed` above 1 is for simulated benches only and goes on record."""

    def __init__(self, *, speed: float = 1.0, stop: StopToken | None = None) -> None:
        if speed <= 0:
            raise ValueError(f"speed of a clock must be above 0; got {speed!r}")
        self.speed = speed
        self._stop = stop or StopToken()
        self._start_s = time.monotonic()

    def monotonic(self) -> float:
        """Return process seconds since this clock was made."""
        return (time.monotonic() - self._start_s) * self.speed

    def sleep(self, seconds: float) -> None:
        """Sleep `seconds / speed` real seconds; raises `Stopped` soon after a stop."""
        self._stop.check()
        deadline_s = time.monotonic() + max(0.0, seconds) / self.speed
        while (left_s := deadline_s - time.monotonic()) > 0:
            self._stop.wait(min(left_s, POLL_S))

    def utc_now(self) -> datetime:
        """Return the machine's UTC time, unaffected by `speed`."""
        return datetime.now(UTC)


class ManualClock:
    """Simulated time: sleeping is a jump. One thread only, so that a seed gives one order of events."""

    def __init__(
        self,
        *,
        start_utc: datetime = datetime(2026, 1, 5, 6, 0, tzinfo=UTC),
        stop: StopToken | None = None,
    ) -> None:
        self.speed = float("inf")
        self._stop = stop or StopToken()
        self._start_utc = start_utc
        self._now_s = 0.0
        self._thread = get_ident()

    def monotonic(self) -> float:
        """Return simulated seconds since this clock was made."""
        if get_ident() != self._thread:  # not a call: it is asked several times a message
            raise RuntimeError(_FOREIGN_THREAD)
        return self._now_s

    def sleep(self, seconds: float) -> None:
        """Jump `seconds` ahead; raises `Stopped` if a stop was asked for."""
        self._stop.check()
        self.advance_to(self.monotonic() + max(0.0, seconds))

    def advance_to(self, time_s: float) -> None:
        """Jump to `time_s`; a time in the past leaves the clock where it is."""
        if time_s > self.monotonic():
            self._now_s = time_s

    def utc_now(self) -> datetime:
        """Return the start's UTC time plus the simulated seconds."""
        return self._start_utc + timedelta(seconds=self.monotonic())
