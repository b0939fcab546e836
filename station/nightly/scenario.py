"""Scenarios: files in `fixtures/nightly`, one kind of day each, with what must hold on it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from station.core.file_reader import did_you_mean
from station.data import data_path
from station.errors import BenchError

FOLDER = "nightly"
PLAN = "IS-20"
"""The plan of a day whose scenario names none."""

INSTRUMENTS = ("lcr-1", "source-1", "fixture-1", "thermometer-1", "operator")
FAULT_KINDS = (
    "late",
    "split",
    "cut",
    "lost_reply",
    "doubled",
    "garbled",
    "hang_up_before",
    "hang_up_after",
    "command_lost",
    "overload",
    "error_entry",
    "frozen",
    "drift",
    "non_ascii",
    "replaced",
    "babble",
    "drip",
    "hang_up_half_way",
    "silent",
    "wrong_identity",
    "stuck",
)
SWEPT = INSTRUMENTS[:4]
"""Instruments that a sweep of faults goes over: all but the simulated operator."""

SWEPT_KINDS = tuple(each for each in FAULT_KINDS if each != "drift")
"""A drift that is put right before the next verification can't be found out by anybody."""

DEFECTS = ("open", "shorted_turns", "layer_short", "high_resistance", "poor_contact")
ACTS = (
    "double_scan",
    "swap",
    "misload",
    "not_changed",
    "warm",
    "guard_open",
    "hand_stop",
    "stop",
    "wrong_spacer",
    "unplug",
)
DRIVEN = "drive"
"""Moment of an act: some messages after the output went on. Else the start of a method."""

MOMENTS = ("inductance", DRIVEN)


@dataclass(frozen=True, slots=True)
class LotSetup:
    """The units. Shares are of units; what is not said is as the simulated lot draws it."""

    units: int
    etch_shift_m: float = 0.0
    """Tracks wider by so much than drawn, over the whole lot."""
    copper_gradient: float | None = None
    """Copper thickness over half a panel."""
    near_limits: str = ""
    """Characteristic (R20 or L) around whose limits all units are piled, half of them outside."""
    on_bin_ends: str = ""
    """Characteristic (R20) whose true value lies exactly on an end that two bins share, for each unit."""
    other_part: float = 0.0
    metal: float = 0.0
    """Units with metal beneath them in the nest."""
    defects: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class BenchSetup:
    """The bench, besides the errors that are drawn from what it declares."""

    lcr_model: str = "LCR-A"
    thermometer_model: str = "TH-P"
    stage: bool = True
    ambient_degc: float = 23.0
    ambient_drift_k_per_h: float = 0.0
    keeps_heat: bool = False
    """A unit that is seated again is still warm from the run before."""
    ambient_wander_k: float = 0.0
    """The shop's temperature jumps within +- this before each unit."""
    field_offset_t: float | None = None
    temperature_noise_k: float | None = None
    perfect: bool = False
    """No errors, no noise: what is shown is true to the last digit."""
    thermometer_sees: float = 1.0
    """Share of the winding's rise that the thermometer near the coil shows."""
    mains_hz: float = 50.0
    field_hum_t: float = 0.0
    resistance_hum: float = 0.0


@dataclass(frozen=True, slots=True)
class FaultSetup:
    """A fault that strikes `times` times, every `every` messages of an instrument, at places drawn by the seed."""

    instrument: str
    kind: str
    first: int
    every: int
    times: int
    seconds: float
    amount: float


@dataclass(frozen=True, slots=True)
class SweepSetup:
    """One fault a unit, each instrument and kind in turn, at a message of the run that the seed draws.

    Somebody puts the instrument right after that run. The first unit is spared: its run tells how many messages
    there are.
    """

    instruments: tuple[str, ...]
    kinds: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Scenario:
    """One kind of day. `every` says at each how many units the operator does what (`ACTS`)."""

    name: str
    title: str
    lot: LotSetup
    bench: BenchSetup
    plan: str = PLAN
    """A plan of the station, or of `fixtures/nightly/plans`."""
    faults: tuple[FaultSetup, ...] = ()
    every: Mapping[str, int] = field(default_factory=dict)
    sweep: SweepSetup | None = None
    moment: str = MOMENTS[0]
    """When in a run the operator interferes."""
    warm_k: float = 3.0
    causes: bool = False
    """Whether the causes that the station names are held against the truth."""
    at_most: Mapping[str, float] = field(default_factory=dict)
    at_least: Mapping[str, float] = field(default_factory=dict)
    tolerance: Mapping[str, float] = field(default_factory=dict)
    """By how much a figure may be worse than on the accepted night; 0 unless said: a night repeats exactly."""


def scenario_names() -> tuple[str, ...]:
    """Return the names of the scenarios that come with the station, sorted."""
    return tuple(sorted(path.stem for path in data_path(FOLDER).glob("*.toml")))


def scenario_path(name: str) -> Path:
    """Return a scenario's file. Raises `BenchError` for a name that there is not."""
    names = scenario_names()
    if name not in names:
        raise BenchError(f"no scenario {name!r}{did_you_mean(name, names)} (known: {', '.join(names)})")
    return data_path(f"{FOLDER}/{name}.toml")


def plan_path(name: str) -> Path:
    """Return the file of the plan that a scenario names: the nightly's own before the station's.

    Raises:
        BenchError: there is none.
    """
    found = {path.stem: path for folder in ("plans", f"{FOLDER}/plans") for path in data_path(folder).glob("*.toml")}
    if name not in found:
        raise BenchError(f"no plan {name!r}{did_you_mean(name, found)} (known: {', '.join(sorted(found))})")
    return found[name]
