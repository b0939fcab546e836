"""The suite that every driver must pass: whatever happens to a response or a message, no wrong number.

Say how your driver is made, prepared and used, and give it a peer that answers like your instrument
(`DriverCase`); then call `check_driver(case)`. No test framework is needed; a `ContractBroken` names fault
and place.

The peer's truth is numbered: each measurement meets another unit. A reading with a value has to be the
truth of *its* unit, so a stale number is as wrong as a garbled one.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

from drivers.clock import Clock, ManualClock
from drivers.contracts.expectations import ContractBroken
from drivers.contracts.faults import CHECKED_FAULTS, FAULTS
from drivers.contracts.scripted import Fault, Peer, ScriptedLink
from drivers.errors import InstrumentError, LinkClosed, LinkTimeout, WrongInstrument
from drivers.link import Link
from drivers.readings import Identity, Reading

ATTEMPTS = 4
"""Measurements within which a driver has to be in step again after a fault that leaves the line open."""

_LONGEST_SILENCE_S = 10.0
_PAUSE_S = 1.0  # between the attempts: the latest response of all has to come in one of them


class Identified(Protocol):
    """What the suite asks of a driver directly."""

    def identify(self) -> Identity:
        """Ask who is there."""
        ...


class TruePeer(Peer, Protocol):
    """A peer whose truth is numbered."""

    truth: int
    """Which unit is in the nest: each number has its own values."""


DriverT = TypeVar("DriverT", bound=Identified)


@dataclass(frozen=True, slots=True)
class DriverCase(Generic[DriverT]):
    """One driver, how it is used, and an instrument for it."""

    make: Callable[[Link, Clock, str], DriverT]
    """Builds the driver over a link and a clock, expecting that identity (empty: any)."""
    prepare: Callable[[DriverT], None]
    """Brings it to where it can measure."""
    measure: Callable[[DriverT], Sequence[Reading]]
    """Takes one measurement."""
    peer: Callable[[], TruePeer]
    """Makes an instrument that is in order."""
    expected: Callable[[int], Sequence[float]]
    """The values of the readings for each truth."""
    terminator_out: bytes
    """What ends a program message."""
    relative: float = 1e-5
    """How far a reading may be from the truth: the resolution of the number format."""
    oldest_s: float = 0.0
    """How old a reading may be: 0, except for an instrument that streams and whose line may stall, in s."""
    checksum: bool = False
    """Whether the protocol has one, so that a garbled digit has to be seen."""


class _Bench(Generic[DriverT]):
    """A fresh driver, link and peer; measures and compares."""

    def __init__(self, case: DriverCase[DriverT], *, identity: str = "") -> None:
        self.case = case
        self.clock = ManualClock()
        self.peer = case.peer()
        self.link = ScriptedLink(self.peer, self.clock, terminator_out=case.terminator_out)
        self.driver = case.make(self.link, self.clock, identity)
        self._loaded: list[tuple[float, int]] = []

    def tell(self, truth: int, place: str) -> InstrumentError | None:
        """Measure with that unit in the nest; return the error, or None after comparing the values."""
        self.peer.truth = truth
        start_s = self.clock.monotonic()
        self._loaded.append((start_s, truth))
        try:
            readings = self.case.measure(self.driver)
        except InstrumentError as error:
            return error
        finally:
            _require(not self.link.hasty_writes, f"{place}: wrote after a time-out before the line was quiet")
        for reading in readings:
            _require(
                reading.good == (reading.value is not None),
                f"{place}: a status with a value, or none without",
            )
        truths = self._loaded_since(start_s - self.case.oldest_s)
        _require(
            any(self._agree(readings, unit) for unit in truths),
            f"{place}: {[reading.value for reading in readings]}, true is {self.case.expected(truth)}",
        )
        return None

    def _loaded_since(self, time_s: float) -> list[int]:
        """Return the units that lay in the nest at `time_s` or later."""
        ends = [start_s for start_s, _ in self._loaded[1:]] + [float("inf")]
        return [truth for (_, truth), end_s in zip(self._loaded, ends, strict=True) if end_s > time_s]

    def _agree(self, readings: Sequence[Reading], truth: int) -> bool:
        """Tell whether each reading that has a value has that unit's."""
        wanted = self.case.expected(truth)
        return len(readings) == len(wanted) and all(
            reading.value is None or abs(reading.value - value) <= self.case.relative * abs(value)
            for reading, value in zip(readings, wanted, strict=True)
        )

    def must_measure(self, truth: int, place: str) -> None:
        """Measure with that unit in the nest; any error is wrong here."""
        error = self.tell(truth, place)
        _require(error is None, f"{place}: {error!r}")


def check_driver(case: DriverCase[DriverT]) -> None:
    """Run the whole suite."""
    check_clean_measurement(case)
    check_identity_is_compared(case)
    check_silence(case)
    check_spoilt_responses(case)
    check_lost_messages(case)
    check_late_unasked_number(case)


def check_clean_measurement(case: DriverCase[DriverT]) -> None:
    """Without faults the driver gives each unit its own values, also in a row."""
    bench = _Bench(case)
    case.prepare(bench.driver)
    for truth in range(1, 6):
        bench.must_measure(truth, "without any fault")


def check_identity_is_compared(case: DriverCase[DriverT]) -> None:
    """The right identity is accepted, another is `WrongInstrument`."""
    identity = _Bench(case).driver.identify()
    again = _Bench(case, identity=f"{identity.maker},{identity.model}").driver.identify()
    _require(again == identity, f"{again} came after {identity}")
    for wrong in (
        "Nobody",
        f"{identity.maker},Other",
        f"{identity.maker},{identity.model},000",
        identity.maker[:-1],
    ):
        try:
            _Bench(case, identity=wrong).driver.identify()
        except WrongInstrument:
            continue
        raise ContractBroken(f"identity {identity} was accepted for '{wrong}'")


def check_silence(case: DriverCase[DriverT]) -> None:
    """An instrument that is silent is a `LinkTimeout` in bounded time; one that is gone is a `LinkClosed`."""
    bench = _Bench(case)
    case.prepare(bench.driver)
    bench.must_measure(1, "before the silence")
    bench.link.silence()
    start_s = bench.clock.monotonic()
    error = bench.tell(2, "silent")
    _require(isinstance(error, LinkTimeout), f"silent: {error!r} instead of LinkTimeout")
    _require(bench.clock.monotonic() - start_s < _LONGEST_SILENCE_S, "silent: waited too long")
    bench.link.close()
    error = bench.tell(3, "gone")
    _require(isinstance(error, LinkClosed), f"gone: {error!r} instead of LinkClosed")


def check_spoilt_responses(case: DriverCase[DriverT]) -> None:
    """Each fault on each response of a measurement: an error or the truth, and soon the truth again."""
    faults = {**FAULTS, **(CHECKED_FAULTS if case.checksum else {})}
    for place in range(_count_responses(case)):
        for name, fault in faults.items():
            _check_one(case, place, f"response {place} {name}", fault)


def check_lost_messages(case: DriverCase[DriverT]) -> None:
    """Each program message lost, in preparation and measurement: an error or the truth."""
    for number in range(_count_messages(case)):
        bench = _Bench(case)
        place = f"message {number} lost"
        bench.link.lose(number)
        bench.peer.truth = 1
        try:
            case.prepare(bench.driver)
        except InstrumentError:
            continue
        bench.tell(2, place)
        bench.link.lose()
        _check_recovery(bench, place)


def check_late_unasked_number(case: DriverCase[DriverT]) -> None:
    """A number that comes between two measurements belongs to neither."""
    bench = _Bench(case)
    case.prepare(bench.driver)
    bench.must_measure(1, "before the number")
    last = max(0, _count_responses(case) - 1)
    bench.link.spoil(last, lambda time_s, data: [(time_s, data), (time_s, b"+5.00000E+00\r\n")])
    bench.tell(2, "with the number")
    bench.clock.sleep(1.0)
    bench.tell(3, "after the number")
    _check_recovery(bench, "after the number")


def _check_one(case: DriverCase[DriverT], place: int, name: str, fault: Fault) -> None:
    bench = _Bench(case)
    case.prepare(bench.driver)
    bench.must_measure(1, f"before {name}")
    bench.link.spoil(place, fault)
    error = bench.tell(2, name)
    if isinstance(error, LinkClosed) or name.endswith("hung up"):
        _require(
            isinstance(bench.tell(3, f"after {name}"), InstrumentError),
            f"{name}: measured over a closed link",
        )
        return
    _check_recovery(bench, name)


def _check_recovery(bench: _Bench[DriverT], name: str) -> None:
    """No later measurement is wrong, and the last of a few succeeds."""
    error: InstrumentError | None = None
    for truth in range(4, 4 + ATTEMPTS):
        bench.clock.sleep(_PAUSE_S if truth > 4 else 0.0)
        error = bench.tell(truth, f"after {name}")
    _require(error is None, f"after {name}: still {error!r}")


def _count_responses(case: DriverCase[DriverT]) -> int:
    bench = _Bench(case)
    case.prepare(bench.driver)
    bench.must_measure(1, "to count")
    bench.link.spoil(1_000_000, lambda time_s, data: [])
    bench.must_measure(2, "to count")
    return bench.link.responses


def _count_messages(case: DriverCase[DriverT]) -> int:
    bench = _Bench(case)
    case.prepare(bench.driver)
    bench.must_measure(1, "to count")
    return bench.link.messages


def _require(kept: bool, otherwise: str) -> None:
    if not kept:
        raise ContractBroken(otherwise)
