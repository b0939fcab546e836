"""A bench, opened: locked, watched, switched off, identified; and closed again whatever happens.

Opening: lock, watchdog, the source's link, off and verified, the other links, identities, fixture's state.
Closing: off and verified, route open, links, watchdog, lock. Signals only ask for a stop meanwhile.
"""

import os
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from itertools import starmap
from pathlib import Path
from types import TracebackType

from drivers.clock import Clock, RealClock
from drivers.errors import DriveNotOff, InstrumentError
from drivers.instruments import Fixture, FixtureState, LcrMeter, Route, Source, SourceSetup, Thermometer
from station.bench_instruments import (
    KINDS,
    BenchInstruments,
    LinkOpener,
    dialect_text,
    find_instrument,
    open_port,
)
from station.bench_lock import BenchLock, NullLock
from station.core.equipment import Bench
from station.core.run_record import InstrumentIdentity, TranscriptMessage
from station.drive import DriveGuard
from station.drive_state import DriveState
from station.errors import BenchError
from station.signals import stop_on_signals
from station.stop import NestStop
from station.watchdog import GIVE_UP_S, LEASE_S, Lease, NullWatchdog, Order, start_watchdog


class OpenBench:
    """The one owner of a bench's instruments. A context manager; one thread opens, uses and closes it.

    `lcr`, `source`, `fixture`, `thermometer` and `clock` are there once it is open, and are guarded: the
    output goes on by `drive` only.
    """

    clock: Clock

    def __init__(
        self,
        setup: Bench,
        *,
        home: Path,
        where: str,
        clock: Clock | None = None,
        stop: NestStop | None = None,
        links: LinkOpener | None = None,
        lock_folder: Path | None = None,
    ) -> None:
        """Prepare bench `setup`; nothing is opened or locked yet.

        Args:
            home: the latch is kept there over restarts.
            where: where whoever finds the bench busy can look: a page's address or a command.
            clock: process time; by default the machine's, at the bench file's speed.
            stop: the session's stop token; give the same one to a manual clock and its memory links.
            links: opens links inside this program instead of ports. There is then no lock and no watchdog:
                no other program could reach them.
            lock_folder: where the machine's lock files stand, for tests.

        Raises:
            BenchError: a real bench with a clock that is not real time, or an instrument is missing.
        """
        self.setup = setup
        self.stop = stop or NestStop()
        self.state_at_opening: FixtureState | None = None
        """The fixture's state as found: its unit may be left from before."""
        self.drive_state = DriveState(home, setup.name)
        for kind in KINDS:
            find_instrument(setup, kind)
        self._home = home
        self._own_clock = clock or RealClock(speed=setup.clock_speed, stop=self.stop)
        if not setup.simulated and getattr(self._own_clock, "speed", 1.0) != 1.0:
            raise BenchError(f"{setup.name}: a real bench must have real time (clock_speed 1).")
        self._open_link = links or open_port
        self._in_memory = links is not None
        addresses = [each.address for each in setup.instruments]
        self._lock: BenchLock | NullLock = NullLock()
        if not self._in_memory:
            self._lock = BenchLock(setup.name, addresses, where=where, folder=lock_folder)
        self._lease: Lease = NullWatchdog()
        self._stack = ExitStack()
        self._thread = 0

    def __enter__(self) -> "OpenBench":
        """Open the bench.

        Raises:
            NestBusy: another program, or this one, has it.
            BenchError: a dialect is missing or wrong, or the watchdog does not start.
            InstrumentError: an instrument is not there, silent or another one.
            DriveNotOff: off could not be verified; the bench is latched from now on.
            Stopped: a stop came meanwhile.
        """
        self._thread = threading.get_ident()
        with ExitStack() as stack:
            stack.enter_context(stop_on_signals(self.stop))
            self._lock.acquire()
            stack.callback(self._lock.release)
            self._lease = self._start_watchdog()
            stack.callback(self._end_watchdog)
            self._guard = DriveGuard(
                self._lease, stop=self.stop, clock=self._own_clock, on_not_off=self._keep_latch
            )
            self._guard.latched = self.drive_state.latched()
            self._instruments = BenchInstruments(
                self.setup,
                guard=self._guard,
                clock=self._own_clock,
                stop=self.stop,
                opener=self._open_link,
            )
            self.clock = self._instruments.clock
            stack.callback(self._instruments.close)
            stack.callback(self._leave_safe)
            self._instruments.open()
            self.state_at_opening = self.fixture.state()
            self._stack = stack.pop_all()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the bench. Raises `DriveNotOff` if off could not be verified."""
        self._stack.close()

    @property
    def lcr(self) -> LcrMeter:
        """Return the LCR meter."""
        return self._instruments.lcr

    @property
    def source(self) -> Source:
        """Return the source, guarded: its output goes on by `drive` only."""
        return self._instruments.source

    @property
    def fixture(self) -> Fixture:
        """Return the fixture, guarded: no route changes with the drive on."""
        return self._instruments.fixture

    @property
    def thermometer(self) -> Thermometer:
        """Return the thermometer."""
        return self._instruments.thermometer

    @property
    def identities(self) -> tuple[InstrumentIdentity, ...]:
        """Return who measures, as identified when the bench was opened."""
        return self._instruments.identities

    @property
    def latched(self) -> str:
        """Return why no run may be made (*drive state unknown: ...*); empty if none stands against it."""
        return self._guard.latched

    @property
    def watchdog_pid(self) -> int | None:
        """Return the process that watches over the drive; None on benches of memory links: nobody does."""
        return self._lease.pid

    @property
    def watched(self) -> bool:
        """Return whether a watchdog of its own process looks after the drive."""
        return self._lease.pid is not None

    @contextmanager
    def drive(self, setup: SourceSetup, *, route: Route | None = None) -> Iterator[Source]:
        """The only way to have the output on; off and verified on every way out. Gives the source.

        See `DriveGuard.drive` for arguments and errors.
        """
        with self._guard.drive(setup, route=route):
            yield self.source

    def begin_run(self) -> None:
        """Start a new transcript, and have every setting of this run sent anew."""
        self._require_own_thread()
        self.lcr.forget_setup()
        self.source.forget_setup()
        self._instruments.transcript.clear()

    def transcript(self) -> tuple[TranscriptMessage, ...]:
        """Return all raw messages since `begin_run`."""
        return tuple(starmap(TranscriptMessage, self._instruments.transcript.rows()))

    def message_count(self) -> int:
        """Return how many messages have passed since `begin_run`."""
        return len(self._instruments.transcript)

    def mend(self) -> None:
        """Open anew each link that was lost, and see that the same instrument is there. Before a run.

        Raises:
            DriveNotOff: the source is still not there; the bench is latched from now on.
            BenchError: the bench is latched: no run until a person clears it.
            LinkOpenError: an instrument is still not there; it is tried again the next time.
            WrongInstrument: another one than at opening answers.
            InstrumentError: it is there, and fails otherwise.
        """
        self._require_own_thread()
        if self.latched:
            raise BenchError(f"{self.setup.name}: {self.latched}", code="bench_latched")
        self._instruments.open_lost()

    def make_safe(self) -> bool:
        """Switch the drive off, verify it, open the route. Never raises; False: drive state unknown."""
        with self.stop.shielded():
            try:
                self._guard.switch_off()
            except DriveNotOff:
                return False
            except InstrumentError as error:
                self._guard.latch(str(error))
                return False
            # The drive is off: a fixture that fails to open the route shows at the next one.
            with suppress(BenchError, InstrumentError):
                self._guard.set_route(Route.OPEN)
        return not self._guard.latched

    def clear_latch(self, *, who: str, why: str) -> None:
        """Clear the latch: a person has looked at the source and says that the drive is off.

        The drive is switched off and verified once more first. Who and why stay in the history.

        Raises:
            BenchError: no name or no reason was given, or the latch file cannot be removed.
            DriveNotOff: off can still not be verified; the latch stays.
        """
        if not who.strip() or not why.strip():
            raise BenchError(f"{self.setup.name}: a latch is cleared by a person with a reason; give both.")
        self._require_own_thread()
        self._guard.switch_off()
        clear_latch(self._home, self.setup.name, who=who, why=why)
        self._guard.latched = ""

    def _start_watchdog(self) -> Lease:
        if self._in_memory:
            return NullWatchdog()
        source = find_instrument(self.setup, "source")
        order = Order(
            bench=self.setup.name,
            name=source.name,
            address=source.address,
            via=source.via,
            baud=source.baud,
            dialect_name=source.dialect,
            dialect_text=dialect_text(source),
            station_pid=os.getpid(),
            home=str(self._home.absolute()),
            lease_s=LEASE_S,
            give_up_s=GIVE_UP_S,
        )
        return start_watchdog(order, stop=self.stop, inherit=self._lock.descriptors)

    def _leave_safe(self) -> None:
        if self._guard.off_unverified:
            return
        with self.stop.shielded():
            self._guard.switch_off()
            # The drive is off, and the dead-man opens a source route by itself.
            with suppress(BenchError, InstrumentError):
                self._guard.set_route(Route.OPEN)

    def _end_watchdog(self) -> None:
        if self._guard.off_unverified:
            self._lease.hand_over()
        else:
            self._lease.close()

    def _keep_latch(self, words: str) -> None:
        try:
            self.drive_state.latch(words)
        except OSError as error:
            self._guard.latched = f"{words} (The latch could not be kept over a restart: {error}.)"

    def _require_own_thread(self) -> None:
        if threading.get_ident() != self._thread:
            raise BenchError(f"{self.setup.name}: asked for by a second thread; only the nest's may use it.")


def clear_latch(home: Path, bench_name: str, *, who: str, why: str) -> None:
    """Clear the latch of a bench that is not open. `who` and `why` stay in the history beside it.

    Raises:
        BenchError: no name or no reason was given, it is not latched, or the latch file cannot be removed.
    """
    if not who.strip() or not why.strip():
        raise BenchError(f"{bench_name}: a latch is cleared by a person with a reason; give both.")
    if not DriveState(home, bench_name).latched():
        raise BenchError(f"{bench_name}: is not latched in {home}; nothing was cleared. Check the name and --home.")
    try:
        DriveState(home, bench_name).clear(who=who, why=why)
    except OSError as error:
        raise BenchError(f"{bench_name}: its latch could not be cleared: {error}.") from error
