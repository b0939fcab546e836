"""A simulated bench to measure on: the same bytes, an invented lot, errors drawn from what is declared.

The accuracies of the bench description are both what the station reckons with and what the simulation draws
its errors from, so that a stated uncertainty can be held against truth.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from drivers.clock import ManualClock, RealClock
from drivers.link import Link
from drivers.stop import StopToken
from sim.bench import FIXTURE, LCR, OPERATOR, SERIAL_PORTS, SOURCE, THERMOMETER, BenchOptions, SimulatedBench
from sim.design import IS_20
from sim.errors import GENERIC_NOISE, BenchErrors, ErrorLimits, NoiseLevels, draw_errors
from sim.faults import Fault
from sim.hosts.memory import MemoryHost
from sim.hosts.network import NetworkHost
from sim.instruments.fixture import ALIVE_S
from sim.lot import Lot, truth_near
from sim.truth import OPEN_OHM, CoilTruth
from station.app.hands import SimulatedHands
from station.bench import LinkOpener
from station.coil import CoilGeometry
from station.core.bench_file import format_bench
from station.core.equipment import Accuracy, Bench, FixtureSetup, InstrumentSetup
from station.core.verification import ReferenceKind, ReferenceUnit
from station.errors import BenchError

DIALECTS = {
    "LCR-A": "lcr-status-last",
    "LCR-B": "lcr-status-first",
    "SRC-1": "source-scpi",
    "FIX-1": "fixture-line",
    "TH-P": "thermometer-polled",
    "TH-S": "thermometer-streaming",
}

ACCURACIES = {
    "lcr": (
        Accuracy("dc_resistance_ohm", 0.0, 110.0, reading_fraction=5e-4),
        Accuracy("series_inductance_h", 1e-7, 1e-2, reading_fraction=5e-4),
        Accuracy("series_resistance_ohm", 0.0, 1e4, reading_fraction=5e-4),
    ),
    "source": (
        Accuracy("current_a", 0.0, 2.2, reading_fraction=1e-3),
        Accuracy("voltage_v", 0.0, 22.0, reading_fraction=5e-4),
    ),
    "fixture": (Accuracy("flux_density_t", 0.0, 0.1, reading_fraction=5e-3),),
    "thermometer": (
        Accuracy("temperature_coil_degc", -20.0, 200.0, counts=1.0, resolution=0.2),
        Accuracy("temperature_ambient_degc", -20.0, 60.0, counts=1.0, resolution=0.2),
    ),
}
"""What the simulated instruments promise (invented, of the order that ordinary ones do)."""

HOLDER = FixtureSetup(
    height_half_width_m=20e-6,
    lateral_half_width_m=0.2e-3,
    contact_half_width_ohm=2e-3,
    coil_temperature_half_width_k=0.1,
)


@dataclass(frozen=True, slots=True)
class Simulation:
    """What is simulated. `errors` None: drawn from the accuracies with `seed`."""

    seed: int = 1
    bench: str = "bench-1"
    lot: str = "L2641"
    defects: tuple[tuple[str, str], ...] = ()
    """(serial, defect) pairs on top of chance."""
    units: tuple[CoilTruth, ...] = ()
    references: tuple[ReferenceUnit, ...] = ()
    design: CoilGeometry = IS_20
    """What the coils on the shelf are drawn like."""
    lcr_model: str = "LCR-A"
    thermometer_model: str = "TH-P"
    has_stage: bool = True
    errors: BenchErrors | None = None
    noise: NoiseLevels = GENERIC_NOISE
    faults: tuple[Fault, ...] | None = None
    speed: float = 1.0
    ambient_degc: float = 23.0
    ambient_drift_k_per_h: float = 0.0
    keeps_heat: bool = False
    """A coil that is loaded again right after is still warm from the run before."""
    handling_s: float = 1.0


def build(simulation: Simulation) -> SimulatedBench:
    """Return the simulated bench: world, instruments, lot and reference units."""
    errors = simulation.errors
    if errors is None:
        errors = drawn_errors(simulation.seed)
    options = BenchOptions(
        seed=simulation.seed,
        lcr_model=simulation.lcr_model,
        thermometer_model=simulation.thermometer_model,
        has_stage=simulation.has_stage,
        errors=errors,
        noise=simulation.noise,
        faults=simulation.faults,
        ambient_degc=simulation.ambient_degc,
        ambient_drift_k_per_h=simulation.ambient_drift_k_per_h,
        keeps_heat=simulation.keeps_heat,
        handling_s=simulation.handling_s,
        alive_s=ALIVE_S * max(1.0, simulation.speed),
    )
    lot = Lot(simulation.seed, name=simulation.lot, design=simulation.design, defects=dict(simulation.defects))
    references = (reference_truth(each, design=simulation.design) for each in simulation.references)
    units = (*simulation.units, *references)
    return SimulatedBench(lot=lot, units=units, options=options)


def describe(simulation: Simulation, bench: SimulatedBench, addresses: dict[str, str]) -> Bench:
    """Return the bench file's content for a simulated bench at `addresses`."""
    models = {
        LCR: ("lcr", simulation.lcr_model),
        SOURCE: ("source", "SRC-1"),
        FIXTURE: ("fixture", "FIX-1"),
        THERMOMETER: ("thermometer", simulation.thermometer_model),
    }
    instruments = tuple(
        InstrumentSetup(
            name=name,
            kind=kind,
            address=addresses[name],
            dialect=DIALECTS[model],
            identity=bench.identities[name],
            accuracies=ACCURACIES[kind],
        )
        for name, (kind, model) in models.items()
    )
    return Bench(
        name=simulation.bench,
        nest="A",
        simulated=True,
        instruments=instruments,
        fixture=replace(HOLDER, stage=simulation.has_stage),
        mains_hz=simulation.noise.hum.mains_hz,
        operator_address=addresses[OPERATOR],
        seed=simulation.seed,
        clock_speed=simulation.speed,
    )


@contextmanager
def served(simulation: Simulation) -> Iterator[tuple[Bench, SimulatedBench, NetworkHost]]:
    """Serve a simulated bench on TCP ports and pseudo-terminals while open."""
    bench = build(simulation)
    clock = RealClock(speed=simulation.speed)
    with NetworkHost(bench.instruments, clock, serial=SERIAL_PORTS) as host:
        yield describe(simulation, bench, dict(host.addresses)), bench, host


@dataclass(frozen=True, slots=True)
class MemoryPlace:
    """A simulated bench behind memory links on a manual clock: same seed, same digits."""

    setup: Bench
    bench: SimulatedBench
    clock: ManualClock
    links: LinkOpener
    hands: SimulatedHands


def in_memory(simulation: Simulation, stop: StopToken) -> MemoryPlace:
    """Return a simulated bench for one thread; `stop` is the station's own token."""
    bench = build(simulation)
    clock = ManualClock(stop=stop)
    host = MemoryHost(bench.instruments, clock, stop=stop)
    setup = describe(simulation, bench, {name: f"memory::{name}" for name in bench.instruments})

    def open_memory_link(instrument: InstrumentSetup, stop: StopToken) -> Link:
        return host.link(instrument.name)

    return MemoryPlace(setup, bench, clock, open_memory_link, SimulatedHands(host.link(OPERATOR)))


def write_bench_file(setup: Bench, path: Path) -> str:
    """Write the bench file of a simulated bench and return its text."""
    text = format_bench(setup)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise BenchError(
            f"{path}: can't be written: {error.strerror or error}. Say where: --to FILE"
        ) from error
    return text


def drawn_errors(seed: int) -> BenchErrors:
    """Return one bench's systematic errors, each drawn from what `ACCURACIES` and `HOLDER` declare."""
    errors = draw_errors(seed, declared_limits())
    # The winding differs from its thermometer by a draw of its own, on top of the thermometer's error.
    coupling = draw_errors(
        seed + 1_000_003, ErrorLimits(coil_thermometer_offset_k=HOLDER.coil_temperature_half_width_k)
    )
    offset_k = errors.coil_thermometer_offset_k + coupling.coil_thermometer_offset_k
    return replace(errors, coil_thermometer_offset_k=offset_k)


def declared_limits() -> ErrorLimits:
    """Return the half widths that the simulation draws from: those that the bench file states."""
    return ErrorLimits(
        lcr_gain=_fraction("lcr", "series_inductance_h"),
        lcr_phase_rad=_fraction("lcr", "series_inductance_h"),
        lcr_dc_gain=_fraction("lcr", "dc_resistance_ohm"),
        lead_resistance_ohm=HOLDER.contact_half_width_ohm,
        source_output_gain=1e-3,
        source_voltage_gain=_fraction("source", "voltage_v"),
        source_current_gain=_fraction("source", "current_a"),
        field_gain=_fraction("fixture", "flux_density_t"),
        field_offset_t=2e-5,  # drops out by current reversal
        height_offset_m=HOLDER.height_half_width_m,
        lateral_offset_m=HOLDER.lateral_half_width_m,
        coil_thermometer_offset_k=_counts("thermometer", "temperature_coil_degc"),
        ambient_thermometer_offset_k=_counts("thermometer", "temperature_ambient_degc"),
    )


def reference_truth(reference: ReferenceUnit, *, design: CoilGeometry = IS_20) -> CoilTruth:
    """Return a coil that has a reference unit's assigned values exactly, and its defect."""
    values = {each.characteristic: each.value for each in reference.values}
    r20 = OPEN_OHM if reference.kind == ReferenceKind.OPEN else values.get("R20")
    whole = truth_near(reference.serial, resistance_20_ohm=r20, inductance_h=values.get("L"), design=design)
    if reference.kind == ReferenceKind.GOOD:
        return whole
    # Of a good one the drawing's field is assigned; a shorted turn takes its share out of it.
    per_ampere = values.get("B@2mm")
    scale = 1.0 if per_ampere is None else per_ampere / whole.flux_density_t_per_a(2e-3, 0.0)
    return replace(whole, field_scale=scale, defect=reference.kind)


def _fraction(kind: str, quantity: str) -> float:
    return _declared(kind, quantity).reading_fraction


def _counts(kind: str, quantity: str) -> float:
    accuracy = _declared(kind, quantity)
    return accuracy.counts * accuracy.resolution


def _declared(kind: str, quantity: str) -> Accuracy:
    return next(each for each in ACCURACIES[kind] if each.quantity == quantity)


def lot_serials(simulation: Simulation, count: int) -> Sequence[str]:
    """Return the first `count` serials of the simulated lot, panel by panel."""
    serials = Lot(simulation.seed, name=simulation.lot).serials()
    return [serial for serial, _ in zip(serials, range(count), strict=False)]
