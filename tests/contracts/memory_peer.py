"""A scripted peer behind the simulation's memory host, in simulated time."""

import heapq
from collections.abc import Callable

from drivers.clock import ManualClock
from sim.instrument import Emission


class MemoryPeer:
    """A simulated instrument that says what a check tells it to; obeys both protocols."""

    def __init__(self, name: str, clock: ManualClock) -> None:
        self.name = name
        self._clock = clock
        self._due: list[tuple[float, int, Emission]] = []
        self._count = 0
        self._came = b""
        self.on_change: Callable[[], None] = lambda: None
        """Called when it was given something to send: for the host."""

    # For the check.

    def send(self, data: bytes) -> None:
        """Send `data` now."""
        self.send_later(0.0, data)

    def send_later(self, seconds: float, data: bytes) -> None:
        """Send `data` in so many simulated seconds."""
        self._emit(Emission(self._clock.monotonic() + seconds, data))

    def hang_up(self) -> None:
        """Close the line."""
        self._emit(Emission(self._clock.monotonic(), b"", hang_up=True))

    def stop_taking(self) -> None:
        """Memory is never full: a write cannot get stuck here."""

    def received(self, size: int) -> bytes:
        """Return all that has come; in simulated time there is nothing to wait for."""
        return self._came

    # For the host.

    def connect(self, now_s: float) -> None:
        """Nothing to do."""

    def disconnect(self, now_s: float) -> None:
        """What was not sent yet is lost."""
        self._due.clear()

    def receive(self, data: bytes, now_s: float) -> None:
        """Keep what comes."""
        self._came += data

    def advance(self, now_s: float) -> list[Emission]:
        """Return what is due."""
        due = []
        while self._due and self._due[0][0] <= now_s:
            due.append(heapq.heappop(self._due)[2])
        return due

    def next_due(self) -> float | None:
        """Return when the next bytes leave."""
        return self._due[0][0] if self._due else None

    def _emit(self, emission: Emission) -> None:
        self._count += 1
        heapq.heappush(self._due, (emission.time_s, self._count, emission))
        self.on_change()
