"""A bench, opened: locked, watched, switched off, identified; and closed again whatever happens.

Opening: lock, watchdog, the source's link, off and verified, the other links, identities, fixture's state.
Closing: off and verified, route open, links, watchdog, lock. Signals only ask for a stop meanwhile.
"""

import os
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import cast

from drivers.build import build_driver
from drivers.clock import Clock, RealClock
from drivers.dialect_reader import DialectError
from drivers.dialects import Dialect, read_dialect
from drivers.errors import DriveNotOff, InstrumentError, LinkClosed, LinkOpenError, WrongInstrument
from drivers.instruments import (
    Fixture,
    FixtureState,
    Instrument,
    LcrMeter,
    Route,
    Source,
    SourceSetup,
    Thermometer,
)
from drivers.link import Link
from drivers.links.open import open_link
from drivers.stop import StopToken
from drivers.traced import TracedLink, Transcript
from station.bench_lock import BenchLock, NullLock
from station.core.equipment import Bench, InstrumentSetup
from station.core.run_record import InstrumentIdentity, TranscriptMessage
from station.data import data_path
from station.drive import DriveGuard
from station.drive_state import DriveState
from station.errors import BenchError
from station.guarded import GuardedClock, GuardedFixture, GuardedLink, GuardedSource
from station.signals import stop_on_signals
from station.stop import NestStop
from station.watchdog import GIVE_UP_S, LEASE_S, Lease, NullWatchdog, Order, start_watchdog

_MENDABLE = ("fixture", "lcr", "thermometer")
"""The kinds whose lost links are opened anew before a run; in the order in which they are opened."""

LinkOpener = Callable[[InstrumentSetup, StopToken], Link]
"""Opens the link to one instrument of a bench; waits give way to the token."""


def open_port(instrument: InstrumentSetup, stop: StopToken) -> Link:
    """Open the link that a bench file's entry names."""
    return open_link(
        instrument.address, name=instrument.name, via=instrument.via, baud=instrument.baud, stop=stop
    )


class OpenBench:
    """The one owner of a bench's instruments. A context manager; one thread opens, uses and closes it.

    `lcr`, `source`, `fixture`, `thermometer` and `clock` are there once it is open, and are guarded: the
    output goes on by `drive` only.
    """

    lcr: LcrMeter
    source: Source
    fixture: Fixture
    thermometer: Thermometer
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
        self.identities: tuple[InstrumentIdentity, ...] = ()
        self.state_at_opening: FixtureState | None = None
        """The fixture's state as found: its unit may be left from before."""
        self.drive_state = DriveState(home, setup.name)
        _require_complete(setup)
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
        self._transcript = Transcript()
        self._drivers: list[Instrument] = []
        self._links: dict[str, GuardedLink] = {}
        self._dialects: dict[str, Dialect] = {}
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
            self._dialects = {each.name: load_bench_dialect(each) for each in self.setup.instruments}
            self._lease = self._start_watchdog()
            stack.callback(self._end_watchdog)
            stack.callback(self._close_links)
            self._guard = DriveGuard(
                self._lease, stop=self.stop, clock=self._own_clock, on_not_off=self._keep_latch
            )
            self._guard.latched = self.drive_state.latched()
            self.clock = GuardedClock(self._own_clock, self._guard)
            stack.callback(self._leave_safe)
            self._open_instruments()
            self._stack = stack.pop_all()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the bench. Raises `DriveNotOff` if off could not be verified."""
        self._stack.close()

    @property
    def latched(self) -> str:
        """Return why no run may be made (*drive state unknown: ...*); empty if none stands against it."""
        return self._guard.latched

    @property
    def watchdog_pid(self) -> int | None:
        """Return the process that watches over the drive; None on benches of memory links: nobody does."""
        return self._lease.pid

    @contextmanager
    def drive(self, setup: SourceSetup, *, route: Route | None = None) -> Iterator[Source]:
        """The only way to have the output on; off and verified on every way out. Gives the source.

        See `DriveGuard.drive` for arguments and errors.
        """
        with self._guard.drive(setup, route=route):
            yield self.source

    def begin_run(self) -> None:
        """Start a new transcript."""
        self._require_own_thread()
        self._transcript.take()

    def transcript(self) -> tuple[TranscriptMessage, ...]:
        """Return all raw messages since `begin_run`."""
        return tuple(
            TranscriptMessage(each.instrument, each.direction, each.monotonic_s, each.data)
            for each in self._transcript.messages()
        )

    def message_count(self) -> int:
        """Return how many messages have passed since `begin_run`."""
        return len(self._transcript)

    def mend(self) -> None:
        """Open anew each link that was lost, and see that the same instrument is there. Before a run.

        The source is not among them: its driver opens its own link anew whenever it switches off.

        Raises:
            BenchError: the bench is latched: no run until a person clears it.
            LinkOpenError: an instrument is still not there; it is tried again the next time.
            WrongInstrument: another one than at opening answers.
            InstrumentError: it is there, and fails otherwise.
        """
        self._require_own_thread()
        if self.latched:
            raise BenchError(f"{self.setup.name}: {self.latched}", code="bench_latched")
        for kind in _MENDABLE:
            instrument = _instrument(self.setup, kind)
            if self._links[instrument.name].lost:
                self._mend(instrument)

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
        source = _instrument(self.setup, "source")
        order = Order(
            bench=self.setup.name,
            name=source.name,
            address=source.address,
            via=source.via,
            baud=source.baud,
            dialect_name=source.dialect,
            dialect_text=_dialect_text(source),
            station_pid=os.getpid(),
            home=str(self._home.absolute()),
            lease_s=LEASE_S,
            give_up_s=GIVE_UP_S,
        )
        return start_watchdog(order, stop=self.stop, inherit=self._lock.descriptors)

    def _mend(self, instrument: InstrumentSetup) -> None:
        link = self._links[instrument.name]
        self._drivers = [each for each in self._drivers if each.name != instrument.name]
        with suppress(InstrumentError):  # what is lost may fail to close
            link.close()
        try:
            driver = self._build(instrument)
            self._require_same(driver)
        except InstrumentError as error:
            # Whatever it was: nothing is known of this instrument until it has said who it is.
            self._links[instrument.name].lost = True
            if isinstance(error, LinkClosed):
                raise LinkOpenError(str(error)) from error
            raise
        self._take(instrument.kind, driver)

    def _require_same(self, driver: Instrument) -> None:
        identity = str(driver.identify())
        was = next(each.identity for each in self.identities if each.name == driver.name)
        if identity != was:
            raise WrongInstrument(
                f"{driver.name}: was '{was}' when the bench was opened; '{identity}' answers now. "
                "Connect the same one again, or open the bench anew and verify it."
            )

    def _take(self, kind: str, driver: Instrument) -> None:
        if kind == "fixture":
            self._guard.take_fixture(cast(Fixture, driver))
            self.fixture = GuardedFixture(cast(Fixture, driver), self._guard)
        elif kind == "lcr":
            self.lcr = cast(LcrMeter, driver)
        else:
            self.thermometer = cast(Thermometer, driver)

    def _open_instruments(self) -> None:
        """The source first, so that it is off before anything else is asked."""
        source = cast(Source, self._build(_instrument(self.setup, "source")))
        self._guard.take_source(source)
        self._guard.switch_off()
        self.source = GuardedSource(source, self._guard)
        for kind in _MENDABLE:
            self._take(kind, self._build(_instrument(self.setup, kind)))
        self.identities = tuple(self._identify(each) for each in self._drivers)
        self.state_at_opening = self.fixture.state()

    def _build(self, instrument: InstrumentSetup) -> Instrument:
        try:
            driver = build_driver(
                instrument.kind,
                self._link(instrument),
                self.clock,
                self._dialects[instrument.name],
                name=instrument.name,
                expected_identity=instrument.identity,
                reopen=lambda: self._link(instrument),
                has_stage=self.setup.fixture.stage,
            )
        except ValueError as error:
            raise BenchError(f"{self.setup.name}: {error}") from error
        self._drivers.append(driver)
        return driver

    def _link(self, instrument: InstrumentSetup) -> Link:
        link = self._open_link(instrument, self.stop)
        traced = TracedLink(link, self._transcript, clock=self._own_clock, instrument=instrument.name)
        guarded = GuardedLink(traced, self._guard)
        self._links[instrument.name] = guarded
        return guarded

    def _identify(self, driver: Instrument) -> InstrumentIdentity:
        due = next(each.calibration_due for each in self.setup.instruments if each.name == driver.name)
        return InstrumentIdentity(driver.name, str(driver.identify()), due.isoformat() if due else "")

    def _leave_safe(self) -> None:
        if self._guard.off_unverified:
            return
        with self.stop.shielded():
            self._guard.switch_off()
            # The drive is off, and the dead-man opens a source route by itself.
            with suppress(BenchError, InstrumentError):
                self._guard.set_route(Route.OPEN)

    def _close_links(self) -> None:
        while self._drivers:
            try:
                self._drivers.pop().close()
            except InstrumentError:
                # A port that fails to close is gone; nothing more can be done for it.
                continue

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
        BenchError: the latch file cannot be removed.
    """
    try:
        DriveState(home, bench_name).clear(who=who, why=why)
    except OSError as error:
        raise BenchError(f"{bench_name}: its latch could not be cleared: {error}.") from error


def load_bench_dialect(instrument: InstrumentSetup) -> Dialect:
    """Return the dialect of an instrument: a shipped one by name, or a file of its own ending in `.toml`.

    Raises:
        BenchError: there is no such dialect, or it is wrong.
    """
    try:
        return read_dialect(_dialect_text(instrument), str(_dialect_path(instrument)))
    except DialectError as error:
        raise BenchError(str(error)) from error


def _dialect_path(instrument: InstrumentSetup) -> Path:
    name = instrument.dialect
    return Path(name) if name.endswith(".toml") else data_path(f"dialects/{name}.toml")


def _dialect_text(instrument: InstrumentSetup) -> str:
    path = _dialect_path(instrument)
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise BenchError(f"{instrument.name}: its dialect {path} cannot be read: {error}") from error


def _instrument(setup: Bench, kind: str) -> InstrumentSetup:
    found = setup.instrument(kind)
    if found is None:
        raise BenchError(f"{setup.name}: needs an instrument of kind '{kind}'; its bench file has none.")
    return found


def _require_complete(setup: Bench) -> None:
    for kind in ("source", "fixture", "lcr", "thermometer"):
        _instrument(setup, kind)
