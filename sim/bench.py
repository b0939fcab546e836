"""A whole simulated bench: one world and the instruments around it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from sim.errors import QUIET, BenchErrors, NoiseLevels
from sim.faults import Fault, FaultyInstrument
from sim.instrument import SimulatedInstrument
from sim.instruments.fixture import ALIVE_S, Fixture
from sim.instruments.lcr_status_first import LcrStatusFirst
from sim.instruments.lcr_status_last import LcrStatusLast
from sim.instruments.line import LineInstrument
from sim.instruments.operator import Operator
from sim.instruments.source import Source
from sim.instruments.thermometer_polled import ThermometerPolled
from sim.instruments.thermometer_streaming import ThermometerStreaming
from sim.lot import Lot
from sim.truth import CoilTruth
from sim.world import World

LCR, SOURCE, FIXTURE, THERMOMETER, OPERATOR = "lcr-1", "source-1", "fixture-1", "thermometer-1", "operator"

SERIAL_PORTS = frozenset({FIXTURE, THERMOMETER})
"""What stands on a serial line; the others are reached by TCP."""

Maker = Callable[[str, World, str], LineInstrument]

MODELS: Mapping[str, Maker] = {
    "LCR-A": LcrStatusLast,
    "LCR-B": LcrStatusFirst,
    "SRC-1": Source,
    "TH-P": ThermometerPolled,
    "TH-S": ThermometerStreaming,
}

MAKER = "INVENTED"
FIRMWARE = "1.0"


@dataclass(frozen=True, slots=True)
class BenchOptions:
    """What stands on the bench and what is wrong with it.

    `faults` None leaves the fault scripts' wrappers out; an empty sequence puts them in, so that they count
    the messages of a run.
    """

    seed: int = 0
    lcr_model: str = "LCR-A"
    thermometer_model: str = "TH-P"
    has_stage: bool = True
    errors: BenchErrors = field(default_factory=BenchErrors)
    noise: NoiseLevels = QUIET
    faults: Sequence[Fault] | None = None
    ambient_degc: float = 23.0
    ambient_drift_k_per_h: float = 0.0
    keeps_heat: bool = False
    """A coil that is loaded again right after is still warm from the run before."""
    handling_s: float = 1.0
    alive_s: float = ALIVE_S
    """How long the fixture's dead-man waits. A sped-up bench stretches it: the station's own computer is not sped
    up, and 2 s at a hundredfold would be 20 ms of its time."""


class SimulatedBench:
    """Builds world and instruments; a host serves `instruments` by name.

    Units come from `lot`, or from `units` first (stated truths).
    """

    def __init__(
        self,
        *,
        lot: Lot | None = None,
        units: Sequence[CoilTruth] = (),
        options: BenchOptions | None = None,
    ) -> None:
        self.options = options = options or BenchOptions()
        self.lot = lot or Lot(options.seed)
        self.world = World(
            seed=options.seed,
            errors=options.errors,
            noise=options.noise,
            ambient_degc=options.ambient_degc,
            ambient_drift_k_per_h=options.ambient_drift_k_per_h,
            keeps_heat=options.keeps_heat,
        )
        self.units = {unit.serial: unit for unit in units}
        self.identities = {
            name: identity(model)
            for name, model in (
                (LCR, options.lcr_model),
                (SOURCE, "SRC-1"),
                (FIXTURE, "FIX-1"),
                (THERMOMETER, options.thermometer_model),
                (OPERATOR, "HANDS"),
            )
        }
        self.plain = self._build()
        self.instruments: dict[str, SimulatedInstrument] = dict(self.plain)
        self.wrappers: dict[str, FaultyInstrument] = {}
        if options.faults is not None:
            self._wrap(options.faults)

    def find_unit(self, serial: str) -> CoilTruth:
        """Return the unit of a serial; `KeyError` if there is none."""
        unit = self.units.get(serial)
        return self.lot.truth(serial) if unit is None else unit

    def _build(self) -> dict[str, LineInstrument]:
        world, options, names = self.world, self.options, self.identities
        shown = names[FIXTURE].replace(",", " ")
        fixture = Fixture(FIXTURE, world, shown, has_stage=options.has_stage, alive_s=options.alive_s)
        return {
            LCR: MODELS[options.lcr_model](LCR, world, names[LCR]),
            SOURCE: Source(SOURCE, world, names[SOURCE]),
            FIXTURE: fixture,
            THERMOMETER: MODELS[options.thermometer_model](THERMOMETER, world, names[THERMOMETER]),
            OPERATOR: Operator(
                OPERATOR, world, names[OPERATOR], self.find_unit, fixture, handling_s=options.handling_s
            ),
        }

    def _wrap(self, faults: Sequence[Fault]) -> None:
        for fault in faults:
            if fault.instrument not in self.plain:
                raise KeyError(f"fault names {fault.instrument!r}; the bench has {', '.join(self.plain)}")
        for name, instrument in self.plain.items():
            own = [fault for fault in faults if fault.instrument == name]
            self.wrappers[name] = FaultyInstrument(instrument, own)
        self.instruments = dict(self.wrappers)


def identity(model: str) -> str:
    """Return the four fields of an invented instrument's identity, separated by commas."""
    return f"{MAKER},{model},{model.replace('-', '')}001,{FIRMWARE}"
