"""A bench as its file describes it: instruments, addresses, accuracies. Frozen data only.

`station.core.bench_file` makes it from text and finds the mistakes. On screens a bench is *equipment*.
"""

from dataclasses import dataclass, field
from datetime import date


@dataclass(frozen=True, slots=True)
class Accuracy:
    """One line of a data sheet: half width a = reading x |value| + range x full scale + counts x resolution.

    Holds for `lower <= |value| <= upper` (of a temperature the value itself) and, where given, for
    frequencies within the two bounds. Widths grow by `temperature_per_k` (relative, of reading) for each
    kelvin outside 18..28 degC.
    """

    quantity: str
    """A `drivers.readings.Quantity` value, such as `dc_resistance_ohm`."""
    lower: float
    upper: float
    reading_fraction: float = 0.0
    range_fraction: float = 0.0
    full_scale: float = 0.0
    counts: float = 0.0
    resolution: float = 0.0
    frequency_lower_hz: float | None = None
    frequency_upper_hz: float | None = None
    temperature_per_k: float = 0.0
    shape: str = "rectangular"
    """Distribution of the error within +-a: `rectangular` or `normal` (then a is two standard deviations)."""


@dataclass(frozen=True, slots=True)
class InstrumentSetup:
    """One instrument of a bench."""

    name: str
    kind: str
    """`lcr`, `source`, `fixture` or `thermometer`."""
    address: str
    dialect: str
    via: str = "auto"
    identity: str = ""
    """What `*IDN?` must begin with; empty: anything, which `bench check` warns of."""
    calibration_due: date | None = None
    timeout_s: float = 2.0
    baud: int = 115_200
    accuracies: tuple[Accuracy, ...] = ()


@dataclass(frozen=True, slots=True)
class FixtureSetup:
    """What the fixture holds and how well it sets the height."""

    stage: bool = True
    kelvin_check: bool = True
    dead_man: bool = True
    remote_sense: bool = True
    """The source senses at the pads. Without, its voltage is not the coil's."""
    height_half_width_m: float = 20e-6
    lateral_half_width_m: float = 0.2e-3
    contact_half_width_ohm: float = 2e-3
    """What the contacts may leave in a four-wire reading."""
    coil_temperature_half_width_k: float = 0.3
    """How far the thermometer near the coil may be from the winding at rest."""
    coil_thermometer: str = ""
    """How it sees the coil: attachment of a thermocouple, emissivity and spot size of a spot sensor."""
    clean_at_cycles: int | None = None
    """Contacts made since the last cleaning after which the probes are to be cleaned; None: not watched."""
    replace_at_cycles: int | None = None
    """Contacts made by one set of probes after which another one takes its place; None: not watched."""


@dataclass(frozen=True, slots=True)
class Bench:
    """One workplace."""

    name: str
    nest: str
    simulated: bool
    instruments: tuple[InstrumentSetup, ...]
    fixture: FixtureSetup
    mains_hz: float = 50.0
    operator_address: str = ""
    """Simulated benches only: where the simulated operator's hands listen."""
    seed: int | None = None
    clock_speed: float = 1.0
    verified_for_s: float = 36_000.0
    """How long a verification holds: a shift and its ends."""
    verified_units: int = 1_000
    """How many units may be judged on one."""
    source_text: str = field(default="", repr=False)

    def instrument(self, kind: str) -> InstrumentSetup | None:
        """Return the instrument of `kind`, or None."""
        return next((each for each in self.instruments if each.kind == kind), None)
