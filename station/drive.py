"""The only way to have the output on: `DriveGuard.drive`.

While the drive is on, each look at the stop token renews the watchdog's lease, each measurement and each
slice of a sleep keeps the fixture's dead-man content and looks at guard and hand stop, and no exchange of
bytes may take longer than 1 s. On every way out the output is switched off and that is verified; if it can't
be, the bench is latched. `station.guarded` has what puts this around links, clock and drivers.

CAUTION: guards in software are aids, no safety function. A hand-operated stop that cuts the drive without
software, fixed limits in the source and a guarded fixture come first.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import get_ident

from drivers.clock import Clock
from drivers.errors import DriveNotOff, InstrumentError
from drivers.instruments import Fixture, Interlocks, Route, Source, SourceSetup
from station.drive_state import UNKNOWN
from station.errors import BenchError, WatchdogLost
from station.stop import NestStop
from station.watchdog import Lease

IO_LIMIT_S = 1.0
"""Longest single exchange of bytes with the drive on, in s of link time."""
KEEP_ALIVE_EVERY_S = 0.5
"""How often the fixture's dead-man hears from us with the drive on, in s of process time; it waits 2 s."""

SOURCE_ROUTES = (Route.SOURCE_FORWARD, Route.SOURCE_REVERSE)
_METER_ROUTES = (Route.LCR, Route.KELVIN_CHECK)


class DriveGuard:
    """Knows whether the drive may be on, and sees to it that it doesn't stay on. One thread's only."""

    def __init__(
        self, lease: Lease, *, stop: NestStop, clock: Clock, on_not_off: Callable[[str], None]
    ) -> None:
        """Guard the drive of one bench; the instruments are given by `take_source` and `take_fixture`.

        Args:
            lease: the watchdog.
            stop: its hook is taken over: each look renews the lease.
            clock: the bench's own, unwrapped.
            on_not_off: called with the words when off could not be verified.
        """
        self.on = False
        """True from before output on is ordered until off is verified, or is known to be unverifiable."""
        self.latched = ""
        """Why no drive is allowed: the state of the last one is unknown. Empty: it is known."""
        self.off_unverified = False
        """True if the last switching off could not be verified."""
        self._lease = lease
        self._stop = stop
        self._clock = clock
        self._on_not_off = on_not_off
        self._last_route: Route | None = None
        self._source: Source | None = None
        self._fixture: Fixture | None = None
        self._ending = False
        self._tending = False
        self._alive_s = 0.0
        self._thread = get_ident()
        stop.on_look = self.renew

    def take_source(self, source: Source) -> None:
        """Take the source's bare driver."""
        self._source = source

    def take_fixture(self, fixture: Fixture) -> None:
        """Take the fixture's bare driver; its route is not known yet."""
        self._fixture = fixture
        self._last_route = None

    def renew(self) -> None:
        """Keep the watchdog's lease while the drive is on.

        Raises:
            WatchdogLost: nobody watches any more; not while the drive is being switched off.
        """
        # Another thread that looks at the token must not keep the lease of a nest's thread that hangs.
        if not self.on or get_ident() != self._thread:
            return
        try:
            self._lease.renew()
        except WatchdogLost:
            if not self._ending:
                raise

    def tend(self) -> None:
        """Keep lease and dead-man, and look at guard and hand stop, when that is due.

        Raises:
            BenchError: the guard is open or the hand stop pressed, or the watchdog lost.
            InstrumentError: the fixture doesn't answer.
        """
        self.renew()
        if not self.on or self._ending or self._tending or self._fixture is None:
            return
        if self._clock.monotonic() - self._alive_s < KEEP_ALIVE_EVERY_S:
            return
        self._look_after_fixture(self._fixture)

    @contextmanager
    def drive(self, setup: SourceSetup, *, route: Route | None = None) -> Iterator[None]:
        """Have the output on as `setup` says; off and verified on every way out.

        What runs within must sleep, measure or look at the stop at least every 0.5 s: a thread that computes (or
        imports) for longer than the lease is taken for a hang, and the watchdog ends the whole program.

        Args:
            setup: levels and protection, read back before the output goes on.
            route: `SOURCE_FORWARD` or `SOURCE_REVERSE`; None: the fixture already connects one of them.

        Raises:
            BenchError: latched, guard open, hand stop, no source route, or already on; the output stays off.
            WatchdogLost: nobody watches; the output stays off or goes off.
            InstrumentError: an instrument failed; the output goes off.
            DriveNotOff: off could not be verified; the bench is latched.
        """
        source, fixture = self._require_ready()
        if route is None:
            route = fixture.state().route
            self._look_after_fixture(fixture)
        else:
            self._alive_s = self._clock.monotonic()
            _require_permission(fixture, self.set_route(route))
        if route not in SOURCE_ROUTES:
            raise BenchError(
                f"{source.name}: drive on was asked for with the coil not connected to the source. "
                "Set the route first."
            )
        source.configure(setup)
        self._ending = False
        try:
            # Before the order goes out: if it takes effect and we end here, somebody knows.
            self.on = True
            self._lease.arm()
            source.output_on()
            yield
        except BaseException as error:
            self._end(error)
            raise
        else:
            self._end(None)

    def switch_off(self) -> None:
        """Switch the output off and verify it, whatever the state; `DriveNotOff` latches the bench."""
        if self._source is None:
            return
        self._ending = True
        try:
            with self._stop.shielded():
                self._source.output_off()
            self.off_unverified = False
        except DriveNotOff as error:
            self.latch(str(error))
            raise
        finally:
            # Also when it could not be verified: all was tried here, and the lease must not kill us while the
            # run is being recorded. The watchdog tries again when the bench closes.
            self._ending = self.on = False
            self._lease.disarm()

    def set_route(self, route: Route) -> Interlocks:
        """Connect the coil to `route`, the output being off.

        Before a meter is connected after a source route, off is verified anew: a driven LCR meter is a
        destroyed one.

        Raises:
            BenchError: the drive is on.
            DriveNotOff: off could not be verified; the route stays.
        """
        if self._fixture is None:
            raise BenchError("the bench is not open: no route can be set. Open it first.")
        if self.on:
            raise BenchError(
                f"{self._fixture.name}: route {route} was asked for with the drive on; it stays as it is. "
                "Leave the drive first."
            )
        if self.latched and route is not Route.OPEN:
            raise BenchError(
                f"{self._fixture.name}: the route stays open: {self.latched}", code="bench_latched"
            )
        if route in _METER_ROUTES and self._last_route in (None, *SOURCE_ROUTES):
            self.switch_off()
        self._last_route = None
        interlocks = self._fixture.set_route(route)
        self._last_route = route
        return interlocks

    def _require_ready(self) -> tuple[Source, Fixture]:
        if self._source is None or self._fixture is None:
            raise BenchError("the bench is not open: the drive stays off. Open it first.")
        if self.latched:
            raise BenchError(
                f"{self._source.name}: the drive stays off: {self.latched}", code="bench_latched"
            )
        if self.on:
            raise BenchError(f"{self._source.name}: asked for drive on, it is on already. Leave it first.")
        return self._source, self._fixture

    def _look_after_fixture(self, fixture: Fixture) -> None:
        self._tending = True
        try:
            interlocks = fixture.keep_alive()
            self._alive_s = self._clock.monotonic()
        finally:
            self._tending = False
        _require_permission(fixture, interlocks)

    def _end(self, error: BaseException | None) -> None:
        """Switch off; after an error open the route too, so that the coil is cut twice."""
        try:
            self.switch_off()
        except DriveNotOff as not_off:
            raise not_off from error
        if error is not None:
            self._open_route()

    def latch(self, words: str) -> None:
        """Latch, and take the last means in software: open the route; the dead-man hears no more from us."""
        self.off_unverified = True
        self.latched = f"{UNKNOWN}: {words}"
        self._open_route()
        self._on_not_off(self.latched)

    def _open_route(self) -> None:
        if self._fixture is None:
            return
        self._last_route = None
        try:
            with self._stop.shielded():
                self._fixture.set_route(Route.OPEN)
        except InstrumentError:
            # The drive matters, not the route: its state is asked for again before the next route or run.
            return


def _require_permission(fixture: Fixture, interlocks: Interlocks) -> None:
    """Raise `BenchError` unless guard and hand stop, as a response of the fixture tells them, allow a drive."""
    if interlocks.hand_stop:
        raise BenchError(
            f"{fixture.name}: the hand stop is pressed: no drive. Release it, then retry.",
            code="hand_stop",
        )
    if not interlocks.guard_closed:
        raise BenchError(
            f"{fixture.name}: the guard is open: no drive. Close it, then retry.", code="guard_open"
        )
