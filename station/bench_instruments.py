"""The instruments of a bench: links opened, drivers built, identified, opened anew when a plug was pulled."""

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import cast

from drivers.build import build_driver
from drivers.clock import Clock
from drivers.dialect_reader import DialectError
from drivers.dialects import Dialect, read_dialect
from drivers.errors import InstrumentError, LinkClosed, LinkOpenError, WrongInstrument
from drivers.instruments import Fixture, Instrument, LcrMeter, Source, Thermometer
from drivers.link import Link
from drivers.links.open import open_link
from drivers.stop import StopToken
from drivers.thermometer import SerialThermometer
from drivers.traced import TracedLink, Transcript
from station.core.equipment import Bench, InstrumentSetup
from station.core.run_record import InstrumentIdentity
from station.data import data_path
from station.drive import DriveGuard
from station.errors import BenchError
from station.guarded import GuardedClock, GuardedFixture, GuardedLink, GuardedSource

LinkOpener = Callable[[InstrumentSetup, StopToken], Link]
"""Opens the link to one instrument of a bench; waits give way to the token."""

KINDS = ("source", "fixture", "lcr", "thermometer")
"""What every bench has, in the order of opening: the source first, so that it is off before all else."""


def open_port(instrument: InstrumentSetup, stop: StopToken) -> Link:
    """Open the link that a bench file's entry names."""
    return open_link(
        instrument.address, name=instrument.name, via=instrument.via, baud=instrument.baud, stop=stop
    )


class BenchInstruments:
    """All instruments of one bench, guarded, with the transcript of their links."""

    lcr: LcrMeter
    source: Source
    fixture: Fixture
    thermometer: Thermometer

    def __init__(
        self,
        setup: Bench,
        *,
        guard: DriveGuard,
        clock: Clock,
        stop: StopToken,
        opener: LinkOpener,
    ) -> None:
        """Read the dialects; nothing is opened yet. Raises `BenchError` if one is missing or wrong."""
        self.transcript = Transcript()
        self.clock = GuardedClock(clock, guard)
        self._guard = guard
        self._stop = stop
        self._opener = opener
        self._own_clock = clock
        self._setup = setup
        self._parts = [find_instrument(setup, kind) for kind in KINDS]
        self._dialects = {each.name: load_bench_dialect(each) for each in self._parts}
        self._links: dict[str, GuardedLink] = {}
        self._drivers: dict[str, Instrument] = {}
        self._identities: dict[str, InstrumentIdentity] = {}
        self._opened_anew: set[str] = set()
        """Whose links were opened again since they last said who they are."""

    @property
    def identities(self) -> tuple[InstrumentIdentity, ...]:
        """Return who measures, as it was asked on opening."""
        return tuple(self._identities.values())

    def open(self) -> None:
        """Open the source and switch it off, open the others, then ask everyone who it is.

        Raises:
            InstrumentError: an instrument is not there, silent or another one.
            DriveNotOff: off could not be verified.
        """
        for part in self._parts:
            self._open_one(part)
        for part in self._parts:
            self._identities[part.name] = self._identify(part)

    def open_lost(self) -> None:
        """Open anew each link that was lost, and see that the same instrument is there.

        The source's driver opens its own link anew whenever it switches off: so it is switched off, then
        asked who it is.

        Raises:
            DriveNotOff: the source is still not there; the bench is latched.
            LinkOpenError: an instrument is still not there; it is tried again the next time.
            WrongInstrument: another one than at opening answers.
            InstrumentError: it is there, and fails otherwise.
        """
        for part in self._parts:
            self._forget_input(part)
        source = self._parts[0]
        if self._links[source.name].lost:
            self._guard.switch_off()
        if source.name in self._opened_anew:
            self._require_same(source)
            self._opened_anew.discard(source.name)
        for part in self._parts[1:]:
            if self._links[part.name].lost:
                self._open_anew(part)

    def close(self) -> None:
        """Let every link go."""
        while self._drivers:
            _, driver = self._drivers.popitem()
            try:
                driver.close()
            except InstrumentError:
                # A port that fails to close is gone; nothing more can be done for it.
                continue

    def _open_one(self, part: InstrumentSetup) -> None:
        driver = self._build(part)
        self._drivers[part.name] = driver
        if part.kind == "source":
            self._guard.take_source(cast(Source, driver))
            self._guard.switch_off()
            self.source = GuardedSource(cast(Source, driver), self._guard)
        elif part.kind == "fixture":
            self._guard.take_fixture(cast(Fixture, driver))
            self.fixture = GuardedFixture(cast(Fixture, driver), self._guard)
        elif part.kind == "lcr":
            self.lcr = cast(LcrMeter, driver)
        else:
            self.thermometer = cast(Thermometer, driver)

    def _open_anew(self, part: InstrumentSetup) -> None:
        with suppress(InstrumentError):  # what is lost may fail to close
            self._links[part.name].close()
        try:
            self._open_one(part)
            # Whatever comes now: nothing is known of this instrument until it has said who it is.
            self._links[part.name].lost = True
            self._require_same(part)
        except LinkClosed as error:
            raise LinkOpenError(str(error)) from error
        self._links[part.name].lost = False

    def _forget_input(self, part: InstrumentSetup) -> None:
        """What came since the last run answers nothing in the next. Also finds a link that closed meanwhile."""
        driver = self._drivers[part.name]
        with suppress(InstrumentError):  # `lost` is noted; a link out of step resynchronises by itself
            if isinstance(driver, SerialThermometer):
                driver.forget_input()  # one that streams keeps track of where its lines begin
            else:
                self._links[part.name].discard_input(quiet=0)

    def _build(self, part: InstrumentSetup) -> Instrument:
        try:
            return build_driver(
                part.kind,
                self._link(part),
                self.clock,
                self._dialects[part.name],
                name=part.name,
                expected_identity=part.identity,
                reopen=lambda: self._link(part),
                has_stage=self._setup.fixture.stage,
                mains_hz=self._setup.mains_hz,
            )
        except ValueError as error:
            raise BenchError(f"{self._setup.name}: {error}") from error

    def _link(self, part: InstrumentSetup) -> Link:
        link = self._opener(part, self._stop)
        traced = TracedLink(link, self.transcript, clock=self._own_clock, instrument=part.name)
        if part.name in self._identities:
            self._opened_anew.add(part.name)
        guarded = self._links[part.name] = GuardedLink(traced, self._guard)
        return guarded

    def _identify(self, part: InstrumentSetup) -> InstrumentIdentity:
        identity = self._drivers[part.name].identify()
        due = part.calibration_due
        return InstrumentIdentity(part.name, str(identity), due.isoformat() if due else "")

    def _require_same(self, part: InstrumentSetup) -> None:
        identity, was = self._identify(part).identity, self._identities[part.name].identity
        if identity != was:
            raise WrongInstrument(
                f"{part.name}: was '{was}' when the bench was opened; '{identity}' answers now. "
                "Connect the same one again, or open the bench anew and verify it."
            )


def find_instrument(setup: Bench, kind: str) -> InstrumentSetup:
    """Return the instrument of `kind`; `BenchError` if the bench has none."""
    found = setup.instrument(kind)
    if found is None:
        raise BenchError(f"{setup.name}: needs an instrument of kind '{kind}'; its bench file has none.")
    return found


def load_bench_dialect(instrument: InstrumentSetup) -> Dialect:
    """Return the dialect of an instrument: a shipped one by name, or a file of its own ending in `.toml`.

    Raises:
        BenchError: there is no such dialect, or it is wrong.
    """
    try:
        return read_dialect(dialect_text(instrument), str(_dialect_path(instrument)))
    except DialectError as error:
        raise BenchError(str(error)) from error


def dialect_text(instrument: InstrumentSetup) -> str:
    """Return the text of an instrument's dialect file; `BenchError` if it cannot be read."""
    path = _dialect_path(instrument)
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise BenchError(f"{instrument.name}: its dialect {path} cannot be read: {error}") from error


def _dialect_path(instrument: InstrumentSetup) -> Path:
    name = instrument.dialect
    return Path(name) if name.endswith(".toml") else data_path(f"dialects/{name}.toml")
