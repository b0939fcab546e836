"""One run, whole: what the sequencer returns and the records keep. Pure data."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import NamedTuple

from station.core.results import Decision, Judgement, Reason, Result


class Purpose(StrEnum):
    """Why a run was made. Only PRODUCTION counts, and only it can give PASS."""

    PRODUCTION = "production"
    ENGINEERING = "engineering"
    VERIFICATION = "verification"
    STUDY = "study"
    IMPORTED = "imported"


@dataclass(frozen=True, slots=True)
class UnitId:
    """Where a serial places a unit. `panel`, `row`, `column` are empty if the serial doesn't say."""

    serial: str
    lot: str
    panel: str = ""
    row: str = ""
    column: str = ""


@dataclass(frozen=True, slots=True)
class RunOpened:
    """Committed before the first contact; found unclosed at start-up it becomes INVALID "station stopped"."""

    run_id: str
    unit: UnitId
    part: str
    plan_hash: str
    bench: str
    nest: str
    operator: str
    purpose: Purpose
    simulated: bool
    opened_utc: datetime
    software_version: str
    repeats_run_id: str = ""
    """The earlier run of the same unit that this one repeats."""


@dataclass(frozen=True, slots=True)
class InstrumentIdentity:
    """Who measured."""

    name: str
    identity: str
    calibration_due: str


class TranscriptMessage(NamedTuple):
    """One raw message. `direction` is `out` (to the instrument) or `in`. A tuple: a run has hundreds of them."""

    instrument: str
    direction: str
    monotonic_s: float
    data: bytes


@dataclass(frozen=True, slots=True)
class Trace:
    """A curve: named columns of equal length, units in the names (`height_m`, `flux_density_t_per_a`)."""

    name: str
    columns: tuple[tuple[str, tuple[float, ...]], ...]


@dataclass(frozen=True, slots=True)
class RunRecord:
    """A closed run. `bin_number` is where the unit goes; `held` sets it aside until an engineer decides."""

    opened: RunOpened
    closed_utc: datetime
    results: tuple[Result, ...]
    judgements: tuple[Judgement, ...]
    decision: Decision
    reason: Reason | None
    bin_number: int
    bin_name: str
    held: bool
    traces: tuple[Trace, ...]
    identities: tuple[InstrumentIdentity, ...]
    transcript: tuple[TranscriptMessage, ...]
    drive_off_verified: bool
    verification_id: str
    """The verification that this run stands on; empty if none."""
    clock_speed: float = 1.0
    seed: int | None = None
