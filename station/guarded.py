"""What stands between methods and a bench's instruments, so that the drive's guard is obeyed."""

from collections.abc import Sequence
from datetime import datetime

from drivers.clock import Clock
from drivers.errors import LinkError
from drivers.group import Group
from drivers.instruments import Fixture, FixtureState, Interlocks, Route, Source, SourceSetup
from drivers.link import MESSAGE_LIMIT, Link
from drivers.readings import Identity, Quantity, Reading
from drivers.session import link_lost
from drivers.stop import POLL_S
from station.drive import IO_LIMIT_S, KEEP_ALIVE_EVERY_S, DriveGuard
from station.errors import BenchError


class GuardedSource:
    """The source as methods see it: the output goes on by `DriveGuard.drive` only."""

    def __init__(self, source: Source, guard: DriveGuard) -> None:
        self.name = source.name
        self._source = source
        self._guard = guard

    def identify(self) -> Identity:
        """Ask who is there; raises `WrongInstrument` if the bench file expects another."""
        return self._source.identify()

    def can(self, quantity: Quantity) -> bool:
        """Tell whether the source measures `quantity`."""
        return self._source.can(quantity)

    def configure(self, setup: SourceSetup) -> None:
        """Set levels and protection, read back; the output stays as it is."""
        self._source.configure(setup)

    def forget_setup(self) -> None:
        """Have the next `configure` send and read back everything."""
        self._source.forget_setup()

    def output_on(self) -> None:
        """Refuse: `BenchError`."""
        raise BenchError(f"{self.name}: asked for output on outside a drive; it stays off. Use the drive.")

    def output_off(self) -> None:
        """Switch off and verify; `DriveNotOff` latches the bench."""
        self._guard.switch_off()

    def measure(self) -> tuple[Reading, Reading]:
        """Return measured voltage and current."""
        self._guard.tend()
        return self._source.measure()

    def current_group(self) -> Group[Reading]:
        """Return an empty group of measured currents, proved by one closing query."""
        return self._source.current_group().tended_by(self._guard.tend)

    def close(self) -> None:
        """Let the link go."""
        self._source.close()


class GuardedFixture:
    """The fixture as methods see it: no route changes with the drive on, and the dead-man is kept content."""

    def __init__(self, fixture: Fixture, guard: DriveGuard) -> None:
        self.name = fixture.name
        self._fixture = fixture
        self._guard = guard

    @property
    def has_stage(self) -> bool:
        """Tell whether the fixture moves the field sensor itself."""
        return self._fixture.has_stage

    def identify(self) -> Identity:
        """Ask who is there."""
        return self._fixture.identify()

    def can(self, quantity: Quantity) -> bool:
        """Tell whether the fixture measures `quantity`."""
        return self._fixture.can(quantity)

    def state(self) -> FixtureState:
        """Ask for the fixture's state."""
        return self._fixture.state()

    def set_route(self, route: Route) -> Interlocks:
        """Connect the coil to `route`; `BenchError` with the drive on."""
        return self._guard.set_route(route)

    def set_height(self, height_m: float) -> None:
        """Move the field sensor to `height_m` above the top copper, in m."""
        self._fixture.set_height(height_m)

    def retract(self) -> None:
        """Move the field sensor out of the coil's way."""
        self._fixture.retract()

    def measure_field(self, *, mains_cycles: int) -> Reading:
        """Return the flux density in T, averaged over whole mains cycles."""
        self._guard.tend()
        return self._fixture.measure_field(mains_cycles=mains_cycles)

    def field_group(self, *, mains_cycles: int) -> Group[Reading]:
        """Return an empty group of flux densities; it proves that the route was held from first to last."""
        return self._fixture.field_group(mains_cycles=mains_cycles).tended_by(self._guard.tend)

    def check_contacts(self) -> Sequence[Reading]:
        """Return force-to-sense resistance of each pad in ohm."""
        return self._fixture.check_contacts()

    def keep_alive(self) -> Interlocks:
        """Tell the dead-man that somebody is in charge."""
        return self._fixture.keep_alive()

    def close(self) -> None:
        """Let the link go."""
        self._fixture.close()


class GuardedLink:
    """A link around a link: with the drive on it tends the guard first and shortens the time allowed.

    `lost` tells that the link failed otherwise than by a timeout: only opening it anew can help.
    """

    def __init__(self, link: Link, guard: DriveGuard) -> None:
        self.name = link.name
        self.lost = False
        self._link = link
        self._guard = guard

    def write(self, data: bytes) -> None:
        """Send all of `data`."""
        if self._guard.on:
            self._guard.renew()
        try:
            self._link.write(data)
        except LinkError as error:
            self._note(error)
            raise

    def read_until(self, terminator: bytes, *, timeout: float, limit: int = MESSAGE_LIMIT) -> bytes:
        """Return the next message; with the drive on within `IO_LIMIT_S`."""
        try:
            return self._link.read_until(terminator, timeout=self._allowed(timeout), limit=limit)
        except LinkError as error:
            self._note(error)
            raise

    def read_exactly(self, count: int, *, timeout: float) -> bytes:
        """Return the next `count` bytes; with the drive on within `IO_LIMIT_S`."""
        try:
            return self._link.read_exactly(count, timeout=self._allowed(timeout))
        except LinkError as error:
            self._note(error)
            raise

    def discard_input(self, *, quiet: float, timeout: float = 2.0) -> bytes:
        """Throw input away until none has come for `quiet` seconds."""
        try:
            return self._link.discard_input(quiet=quiet, timeout=self._allowed(timeout))
        except LinkError as error:
            self._note(error)
            raise

    def close(self) -> None:
        """Let the port go."""
        self._link.close()

    def _note(self, error: LinkError) -> None:
        self.lost |= link_lost(error)

    def _allowed(self, timeout: float) -> float:
        if not self._guard.on:
            return timeout
        self._guard.renew()
        return min(timeout, IO_LIMIT_S)


class GuardedClock:
    """The clock as methods and drivers see it: a sleep with the drive on is cut into tended slices."""

    def __init__(self, clock: Clock, guard: DriveGuard) -> None:
        self.speed = float(getattr(clock, "speed", 1.0))
        """Process seconds in a real second; infinite for a manual clock."""
        self._clock = clock
        self._guard = guard
        self._slice_s = min(KEEP_ALIVE_EVERY_S, POLL_S * self.speed)

    def monotonic(self) -> float:
        """Return seconds of process time since an arbitrary start."""
        return self._clock.monotonic()

    def sleep(self, seconds: float) -> None:
        """Let `seconds` of process time pass; raises what `DriveGuard.tend` raises, and `Stopped`."""
        end_s = self._clock.monotonic() + seconds
        while self._guard.on:
            self._guard.tend()
            left_s = end_s - self._clock.monotonic()
            if left_s <= self._slice_s:
                self._clock.sleep(max(0.0, left_s))
                return
            self._clock.sleep(self._slice_s)
        self._clock.sleep(max(0.0, end_s - self._clock.monotonic()))

    def utc_now(self) -> datetime:
        """Return the time of day in UTC, for records only."""
        return self._clock.utc_now()
