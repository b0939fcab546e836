"""Watches the output from outside the station: how long it stays on after it should be off, and what interferes then.

Delay of an off: from the last reply that came while the output was on (the end, or the failure: whatever came after
it was no reply) to the instant at which the simulated output went off, on the manual clock. If the operator or the
stop interfered meanwhile, from that instant.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from drivers.clock import Clock
from drivers.link import MESSAGE_LIMIT, Link
from sim.world import World

OFF = b"OUTP 0"
"""How the simulated source is told to switch off."""


@dataclass(slots=True)
class DriveWatch:
    """Looks at each message of each link of a bench."""

    world: World
    clock: Clock
    longest_off_s: float = 0.0
    """Of all offs so far."""
    offs: int = 0
    _driven: int = 0
    _since_s: float = 0.0
    _act: Callable[[], object] | None = None
    _at: int = 0
    _ends: bool = True
    _over: bool = False
    """The output should be off by now: later replies change nothing."""

    def interfere(self, act: Callable[[], object] | None, *, at: int = 0, ends: bool = True) -> None:
        """Have `act` called before the `at`-th message (from 1) with the output on, once; None: nothing.

        `ends`: the output should go off for it at once. A pulled plug shows only when that instrument is asked.
        """
        self._act, self._at, self._ends, self._driven = act, at, ends, 0

    def before_write(self, data: bytes) -> None:
        """A message is about to go out."""
        self.look()
        if not self.world.drive.on:
            return
        self._over |= OFF in data
        if self._act is None:
            return
        self._driven += 1
        if self._driven == self._at:
            act, self._act = self._act, None
            if self._ends:
                self._since_s, self._over = self.clock.monotonic(), True
            act()

    def after_read(self) -> None:
        """A whole reply has come."""
        self.look()
        if self.world.drive.on and not self._over:
            self._since_s = self.clock.monotonic()

    def look(self) -> None:
        """Take in what the output has done since the last look."""
        if not self.world.switched:
            return
        for time_s, on in self.world.switched:
            if on:
                self._since_s = time_s
            else:
                self.offs += 1
                self.longest_off_s = max(self.longest_off_s, time_s - self._since_s)
            self._over = False
        self.world.switched.clear()


@dataclass(slots=True)
class WatchedLink:
    """A link around a link: changes nothing, tells the watch."""

    name: str = field(init=False)
    link: Link
    watch: DriveWatch

    def __post_init__(self) -> None:
        self.name = self.link.name

    def write(self, data: bytes) -> None:
        """Send `data`; an act may come before."""
        self.watch.before_write(data)
        self.link.write(data)

    def read_until(self, terminator: bytes, *, timeout: float, limit: int = MESSAGE_LIMIT) -> bytes:
        """Return the next message."""
        message = self.link.read_until(terminator, timeout=timeout, limit=limit)
        self.watch.after_read()
        return message

    def read_exactly(self, count: int, *, timeout: float) -> bytes:
        """Return the next `count` bytes."""
        data = self.link.read_exactly(count, timeout=timeout)
        self.watch.after_read()
        return data

    def discard_input(self, *, quiet: float, timeout: float = 2.0) -> bytes:
        """Throw input away until it is quiet."""
        return self.link.discard_input(quiet=quiet, timeout=timeout)

    def close(self) -> None:
        """Close the link."""
        self.link.close()
