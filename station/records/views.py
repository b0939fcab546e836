"""What the records give back, runs apart (those are `station.core.run_record.RunRecord`). Frozen."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from station.core.results import Decision, Judgement, Reason
from station.core.run_record import Purpose, UnitId
from station.core.verification import VerificationValue

if TYPE_CHECKING:
    import numpy as np

_DIGEST = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True)
class RunSummary:
    """One run in a list. `decision` is the latest one on it; None while the run is open."""

    run_id: str
    serial: str
    lot: str
    part: str
    plan_hash: str
    bench: str
    nest: str
    operator: str
    purpose: Purpose
    simulated: bool
    opened_utc: datetime
    closed_utc: datetime | None
    decision: Decision | None
    reason: Reason | None
    bin_number: int | None
    bin_name: str
    held: bool
    repeats_run_id: str
    concession: str = ""
    """Number of the concession or deviation permit by which the unit was accepted; then `decision` is FAIL."""


@dataclass(frozen=True, slots=True)
class HeldUnit:
    """A unit that waits for an engineer, and since when."""

    serial: str
    lot: str
    reason_code: str
    who: str
    why: str
    utc: datetime


@dataclass(frozen=True, slots=True)
class PastValue:
    """One value of one verification of a bench, to be drawn over time."""

    verification_id: str
    done_utc: datetime
    nest: str
    found: VerificationValue


@dataclass(frozen=True, slots=True)
class FixtureService:
    """A fixture was cleaned or got other probes. `contact_cycles` is what its counter showed then."""

    bench: str
    nest: str
    fixture_identity: str
    action: str
    """`cleaned` or `probes changed`."""
    contact_cycles: int
    who: str
    why: str
    utc: datetime


@dataclass(frozen=True, slots=True)
class ContactPoint:
    """The contact resistances of one run's seating, at its end."""

    serial: str
    nest: str
    opened_utc: datetime
    contact_cycles: int
    resistances_ohm: tuple[float, ...]
    """Start pad, end pad."""


@dataclass(frozen=True, slots=True)
class LaterDecision:
    """Another decision on a run on record: under another plan revision, or by `concession` (its number)."""

    run_id: str
    plan_hash: str
    decision: Decision
    reason: Reason | None
    bin_number: int
    bin_name: str
    held: bool
    judgements: tuple[Judgement, ...]
    concession: str
    who: str
    why: str
    decided_utc: datetime


@dataclass(frozen=True, slots=True)
class LastMeasured:
    """The last value that a production run measured of one characteristic of a unit."""

    characteristic: str
    value: float
    expanded_uncertainty: float | None
    unit_symbol: str
    run_id: str


@dataclass(frozen=True, slots=True)
class UnitState:
    """Where a unit stands. Production runs count, others don't; `held` is held whoever asked for it."""

    unit: UnitId
    run_id: str
    """The latest production run; empty if none."""
    decision: Decision | None
    """Of the latest production run, INVALID included."""
    reason: Reason | None
    bin_number: int | None
    bin_name: str
    plan_hash: str
    decided: Decision | None
    """The latest PASS or FAIL, if any: the unit has been judged."""
    decided_run_id: str
    held: bool
    invalid_runs: int
    """Production runs that were INVALID for how the unit sat (not for an instrument's failure), since the latest
    PASS, FAIL or release from being held."""
    measured: tuple[LastMeasured, ...]
    """The last measured `R20` and `L` (or what was asked for)."""
    concession: str = ""
    """Number of the concession or deviation permit by which the unit was accepted; then `decision` is FAIL."""

    def last(self, characteristic: str) -> LastMeasured | None:
        """Return the last measured value of `characteristic`, or None."""
        return next((each for each in self.measured if each.characteristic == characteristic), None)


@dataclass(frozen=True, slots=True)
class BinCount:
    """Units in one bin."""

    number: int
    name: str
    units: int


@dataclass(frozen=True, slots=True)
class LotSummary:
    """A lot by its units: each counted once, by the latest decision on its latest production run.

    `passed + failed + invalid == units`; `held` says how many of these units are held besides.
    """

    lot: str
    simulated: bool
    units: int
    passed: int
    failed: int
    invalid: int
    held: int
    yield_fraction: float | None
    """passed / (passed + failed): INVALID is about us, not the units. None if none is decided."""
    first_pass_fraction: float | None
    """Units that passed in their first production run, of all units. None without units."""
    runs: int
    """Production runs on record."""
    bins: tuple[BinCount, ...]
    conceded: int = 0
    """Of `failed`: accepted by concession or deviation permit, and not held. Never part of `passed`."""


@dataclass(frozen=True, slots=True)
class LotValues:
    """One characteristic over a lot: the last measured value of each unit, in order of first opening.

    Arrays of equal length N. Population: units with a production run in which it was measured.
    """

    lot: str
    characteristic: str
    unit_symbol: str
    serials: tuple[str, ...]
    panels: tuple[str, ...]
    rows: tuple[str, ...]
    columns: tuple[str, ...]
    decisions: tuple[str, ...]
    """Decision on the run that the value comes from."""
    values: "np.ndarray"
    """float64 [N], in `unit_symbol`."""
    expanded_uncertainties: "np.ndarray"
    """float64 [N]; NaN where none is on record."""


@dataclass(frozen=True, slots=True)
class ExportColumn:
    """A column of an export. `kind` is `text`, `whole`, `number` or `flag`; any cell may be None."""

    name: str
    kind: str
    words: str = ""
    """What it holds."""


@dataclass(frozen=True, slots=True)
class LotRows:
    """A lot as one table. `rows` are read piece by piece while it is open, cells in order of `columns`."""

    columns: tuple[ExportColumn, ...]
    rows: Iterator[tuple[Any, ...]]


@dataclass(frozen=True, slots=True)
class PlanRevision:
    """A released control plan, as it was released. It never changes."""

    part: str
    revision: int
    title: str
    plan_hash: str
    source_text: str
    who: str
    why: str
    released_utc: datetime


@dataclass(frozen=True, slots=True)
class AuditEntry:
    """Somebody did something that needs a reason."""

    utc: datetime
    who: str
    action: str
    subject: str
    why: str


@dataclass(frozen=True, slots=True)
class Head:
    """The last entry of a bench's digest chain. Kept elsewhere (printed), it shows a cut tail."""

    bench: str
    seq: int
    digest: str
    """Hexadecimal; empty for a chain without entries."""

    def __str__(self) -> str:
        return f"{self.bench or 'station'}:{self.seq}:{self.digest}"

    @classmethod
    def parse(cls, text: str) -> "Head":
        """Return the head that `str` wrote. Raises `ValueError` for any other text."""
        bench, seq, digest = ("", "", "") if text.count(":") < 2 else text.rsplit(":", 2)
        if not bench or not seq.isdecimal() or not (digest == "" or _DIGEST.fullmatch(digest)):
            raise ValueError(f"a head reads BENCH:NUMBER:DIGEST, as it was printed; got {text!r}")
        return cls("" if bench == "station" else bench, int(seq), digest)


@dataclass(frozen=True, slots=True)
class ChainFault:
    """One thing that is not as it was recorded."""

    bench: str
    seq: int | None
    what: str
    """`changed`, `removed`, `inserted`, `reordered` or `cut off`."""
    kind: str
    """`run`, `decision`, `verification`, `plan`, `hold` or `audit`; empty if unknown."""
    subject: str
    """Run id (or what else names it); empty if unknown."""
    words: str


@dataclass(frozen=True, slots=True)
class ChainReport:
    """What a walk over all chains found."""

    entries: int
    heads: tuple[Head, ...]
    faults: tuple[ChainFault, ...]

    @property
    def sound(self) -> bool:
        """Tell whether everything is as it was recorded."""
        return not self.faults
