"""Scenarios: files in `fixtures/nightly`, one kind of day each, with what must hold on it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from station.core.file_reader import Table, did_you_mean, read_file
from station.core.quantity import Dimension
from station.data import data_path
from station.errors import BenchError

FOLDER = "nightly"
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
)
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
)


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
    ambient_wander_k: float = 0.0
    """The shop's temperature jumps within +- this before each unit."""
    field_offset_t: float | None = None
    temperature_noise_k: float | None = None


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
class Scenario:
    """One kind of day. `every` says at each how many units the operator does what (`ACTS`)."""

    name: str
    title: str
    lot: LotSetup
    bench: BenchSetup
    faults: tuple[FaultSetup, ...] = ()
    every: Mapping[str, int] = field(default_factory=dict)
    warm_k: float = 3.0
    causes: bool = False
    """Whether the causes that the station names are held against the truth."""
    at_most: Mapping[str, float] = field(default_factory=dict)
    at_least: Mapping[str, float] = field(default_factory=dict)
    tolerance: Mapping[str, float] = field(default_factory=dict)
    """By how much a figure may be worse than on the accepted night; 0 unless said: a night repeats exactly."""


def read_scenario(path: Path, *, known: Callable[[str], bool] = lambda figure: True) -> Scenario:
    """Return the scenario in a file. `known` tells whether a figure's name exists.

    Raises:
        BenchError: the file can't be read, or is wrong; with all mistakes.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise BenchError(f"{path}: can't be read: {error}. Give a scenario's file.") from error
    root, mistakes = read_file(text, path.name)
    if not mistakes.found:
        scenario = _read(root, path.stem, known)
        if not mistakes.found:
            return scenario
    raise BenchError(mistakes.found)


def scenario_names() -> tuple[str, ...]:
    """Return the names of the scenarios that come with the station, sorted."""
    return tuple(sorted(path.stem for path in data_path(FOLDER).glob("*.toml")))


def scenario_path(name: str) -> Path:
    """Return a scenario's file. Raises `BenchError` for a name that there is not."""
    names = scenario_names()
    if name not in names:
        raise BenchError(f"no scenario {name!r}{did_you_mean(name, names)} (known: {', '.join(names)})")
    return data_path(f"{FOLDER}/{name}.toml")


def _read(root: Table, name: str, known: Callable[[str], bool]) -> Scenario:
    operator = root.table("operator")
    scenario = Scenario(
        name=name,
        title=root.text("title", limit=60),
        lot=_read_lot(root.table("lot", required=True)),
        bench=_read_bench(root.table("bench")),
        faults=tuple(map(_read_fault, root.tables("fault"))),
        every={act: operator.integer(act, lower=1, upper=10_000) for act in ACTS if act in operator},
        warm_k=operator.quantity("warm_rise", Dimension.TEMPERATURE_DIFFERENCE, default=3.0, lower=0.0, upper=20.0),
        causes=root.flag("causes", default=False),
        at_most=_read_figures(root.table("at_most"), known),
        at_least=_read_figures(root.table("at_least"), known),
        tolerance=_read_figures(root.table("tolerance"), known),
    )
    operator.close()
    root.close()
    return scenario


def _read_lot(table: Table) -> LotSetup:
    defects = table.table("defects")
    lot = LotSetup(
        units=table.integer("units", lower=1, upper=2_880),
        etch_shift_m=table.quantity("etch_shift", Dimension.LENGTH, default=0.0, lower=-5e-5, upper=5e-5),
        copper_gradient=table.optional_quantity("copper_gradient", Dimension.FRACTION, lower=0.0, upper=0.5),
        near_limits=table.choice("near_limits", ("", "R20", "L"), default=""),
        other_part=_share(table, "other_part"),
        metal=_share(table, "metal"),
        defects={each: _share(defects, each) for each in DEFECTS if each in defects},
    )
    for each in defects.names():
        if each not in DEFECTS:
            defects.mistake(each, f"is no defect{did_you_mean(each, DEFECTS)} (known: {', '.join(DEFECTS)})")
    table.close()
    return lot


def _share(table: Table, key: str) -> float:
    return table.quantity(key, Dimension.FRACTION, default=0.0, lower=0.0, upper=1.0)


def _read_bench(table: Table) -> BenchSetup:
    kelvin = Dimension.TEMPERATURE_DIFFERENCE
    bench = BenchSetup(
        lcr_model=table.choice("lcr", ("LCR-A", "LCR-B"), default="LCR-A"),
        thermometer_model=table.choice("thermometer", ("TH-P", "TH-S"), default="TH-P"),
        stage=table.flag("stage", default=True),
        ambient_degc=table.quantity("ambient", Dimension.TEMPERATURE, default=23.0, lower=5.0, upper=45.0),
        ambient_wander_k=table.quantity("ambient_wander", kelvin, default=0.0, lower=0.0, upper=10.0),
        field_offset_t=table.optional_quantity("field_offset", Dimension.FLUX_DENSITY),
        temperature_noise_k=table.optional_quantity("temperature_noise", kelvin, lower=0.0),
    )
    table.close()
    return bench


def _read_fault(table: Table) -> FaultSetup:
    fault = FaultSetup(
        instrument=table.choice("instrument", INSTRUMENTS),
        kind=table.choice("kind", FAULT_KINDS),
        first=table.integer("first", lower=0, upper=10_000_000),
        every=table.integer("every", default=1, lower=1, upper=1_000_000),
        times=table.integer("times", default=1, lower=1, upper=10_000),
        seconds=table.quantity("delay", Dimension.TIME, default=0.0, lower=0.0, upper=60.0),
        amount=table.number("amount", default=0.0, lower=-10.0, upper=1e6),
    )
    table.close()
    return fault


def _read_figures(table: Table, known: Callable[[str], bool]) -> dict[str, float]:
    names = table.names()
    for name in names:
        if not known(name):
            table.mistake(name, "is no figure of the nightly; its table shows which there are")
    return {name: table.number(name, lower=-1e9, upper=1e9) for name in names}
