"""What happens in a nest, told as it happens. Frozen, numbered within one nest.

The sequencer calls `on_event` synchronously; a listener must not block, and its failure never touches the
run. The decision's event follows the commit of its record.
"""

from dataclasses import dataclass, replace
from datetime import datetime

from station.core.results import Decision, Reason, Result


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Any event. `number` is given by the ring that keeps it."""

    number: int = 0
    monotonic_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanTaken(Event):
    """A serial was accepted; the nest waits for it."""

    serial: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanRefused(Event):
    """A scan was not accepted, and why."""

    text: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanEnded(Event):
    """A scan that was taken, or a verification, ended without a decision, and why."""

    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class VerificationStarted(Event):
    """The reference units are being measured."""

    part: str


@dataclass(frozen=True, slots=True, kw_only=True)
class VerificationEnded(Event):
    """A verification is on record."""

    verified: bool
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NextAction(Event):
    """What the operator does now: unload, load, place a spacer, put the unit into a bin."""

    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RunStarted(Event):
    """The unit is loaded and the run is open."""

    serial: str
    run_id: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MethodStarted(Event):
    """A method begins; `index` of `total` that are due."""

    method: str
    index: int
    total: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ResultReady(Event):
    """A result is there; it is not judged yet."""

    result: Result


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingTaken(Event):
    """A single reading of what will be a characteristic's result: not corrected for all, without uncertainty."""

    characteristic: str
    unit_symbol: str
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldReading(Event):
    """The field was read once at a height, at one sign of the current; no result yet: the earth's field is in it."""

    height_m: float
    sign: int
    """+1: current forward; -1: reversed."""
    field_t_per_a: float
    """Flux density by the current with its sign: positive over a coil that is the right way up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatingSample(Event):
    """A heated coil was looked at: how warm it is, and where the fit says that it will settle."""

    time_s: float
    """Since the first sample of the first level."""
    level: int
    levels: int
    drive: float
    drive_unit: str
    rise_k: float
    """The winding's rise over ambient."""
    wanted_k: float
    """How exactly the steady rise is wanted, in K."""
    soaked_out: bool
    """True: held for the full soak, whatever the fit says (an audit)."""
    level_left_s: float
    """This level lasts so long at most."""
    left_s: float
    """All levels together last so long at most."""
    foretold_rise_k: float | None = None
    foretold_uncertainty_k: float | None = None
    """Standard uncertainty of the foretold steady rise; None while there is no fit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NestHot(Event):
    """CAUTION: the coil in the nest is, or is about to be, too hot to touch."""

    touch_limit_degc: float
    driven: bool
    """The drive is on; False: it cools."""
    cool_by_utc: datetime | None
    """When it will be cool at the latest; None: time does not tell."""
    reads_degc: float | None = None
    """What it reads, if a thermometer can tell."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NestCool(Event):
    """The coil is below its touch limit: the nest is released."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunDecided(Event):
    """The run is on record and decided."""

    serial: str
    run_id: str
    decision: Decision
    bin_number: int
    bin_name: str
    reason: Reason | None
    held: bool
    next_action: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchLatched(Event):
    """The drive state is unknown: no run until a person has looked and cleared it."""

    words: str


class EventRing:
    """Keeps the last `size` events and numbers them, so that a listener resumes by the last number it saw."""

    def __init__(self, *, size: int = 2_000) -> None:
        self._events: list[Event] = []
        self._size = size
        self._next = 1

    def add(self, event: Event) -> Event:
        """Number `event`, keep it, return it."""
        numbered = replace(event, number=self._next)
        self._next += 1
        self._events.append(numbered)
        del self._events[: -self._size]
        return numbered

    def since(self, number: int) -> list[Event]:
        """Return what came after event `number`, oldest first."""
        return [each for each in self._events if each.number > number]
