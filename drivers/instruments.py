"""What methods may ask of instruments, by capability and never by model.

The protocols here are what `station.methods` is written against; the modules `lcr`, `source`, `fixture` and
`thermometer` implement them for anything that a dialect file describes.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from drivers.group import Group
from drivers.readings import Identity, Quantity, Reading


class Instrument(Protocol):
    """Any instrument of a bench."""

    name: str

    def identify(self) -> Identity:
        """Ask who is there. Raises `WrongInstrument` if the bench file expects another."""
        ...

    def can(self, quantity: Quantity) -> bool:
        """Tell whether this instrument measures `quantity`."""
        ...

    def close(self) -> None:
        """Let the link go."""
        ...


@dataclass(frozen=True, slots=True)
class LcrSetup:
    """What an LCR meter is configured to. `range_ohm` None leaves ranging to the meter (not in production).

    `frequency_hz` is 0 for DC resistance.
    """

    quantities: tuple[Quantity, ...]
    frequency_hz: float
    level_v: float = 1.0
    averaging: int = 1
    range_ohm: float | None = None


class LcrMeter(Instrument, Protocol):
    """Measures impedance at a frequency, or DC resistance, four-wire."""

    def configure(self, setup: LcrSetup) -> None:
        """Set the meter up and drain its error queue (`InstrumentReported`).

        A setup that is in force since the last `forget_setup`, with no failure since, is not sent again.
        """
        ...

    def forget_setup(self) -> None:
        """Have the next `configure` send everything: a run starts on settings of its own."""
        ...

    def measure(self) -> tuple[Reading, ...]:
        """Take one measurement in the order of `setup.quantities`.

        The first one after a range change is taken and dropped. The link is proved to be in step before the
        readings are handed out.
        """
        ...

    def group(self) -> Group[tuple[Reading, ...]]:
        """Return an empty group of measurements as `measure` gives them, proved by one closing query."""
        ...

    def correct_open(self) -> None:
        """Take the open correction; the route must show an open fixture."""
        ...

    def correct_short(self) -> None:
        """Take the short correction; the shorting piece must be in the nest."""
        ...


@dataclass(frozen=True, slots=True)
class SourceSetup:
    """What a source is set to before its output goes on; read back before `output_on`."""

    voltage_v: float
    current_a: float
    over_voltage_v: float
    over_current_a: float


class Source(Instrument, Protocol):
    """A DC source with measured voltage and current. One quadrant: reversal is the fixture's."""

    def configure(self, setup: SourceSetup) -> None:
        """Set levels and protection, read each back, drain the error queue; the output stays as it is.

        A setup that is in force since the last `forget_setup`, with no failure since, is not sent again.
        """
        ...

    def forget_setup(self) -> None:
        """Have the next `configure` send and read back everything: a run starts on settings of its own."""
        ...

    def output_on(self) -> None:
        """Close the output, after a `configure`."""
        ...

    def output_off(self) -> None:
        """Open the output at once, in step or not, and verify it by a measured current near zero.

        Raises `DriveNotOff` if that cannot be verified, also after opening the link anew.
        """
        ...

    def measure(self) -> tuple[Reading, Reading]:
        """Return measured voltage and current, in step."""
        ...

    def current_group(self) -> Group[Reading]:
        """Return an empty group of measured currents, proved by one closing query."""
        ...


class Route(StrEnum):
    """What the fixture connects the coil to. Changed break-before-make, with the drive verified off."""

    OPEN = "open"
    LCR = "lcr"
    SOURCE_FORWARD = "source_forward"
    SOURCE_REVERSE = "source_reverse"
    KELVIN_CHECK = "kelvin_check"


@dataclass(frozen=True, slots=True)
class Interlocks:
    """What each response of the fixture tells beside its own matter."""

    loaded: bool
    guard_closed: bool
    hand_stop: bool


@dataclass(frozen=True, slots=True)
class FixtureState:
    """What every status message of the fixture tells."""

    route: Route
    loaded: bool
    guard_closed: bool
    hand_stop: bool
    height_m: float | None
    contact_cycles: int


class Fixture(Instrument, Protocol):
    """Holds and contacts the unit; route, height stage, field sensor, contact check."""

    @property
    def has_stage(self) -> bool:
        """False: the operator places a spacer instead."""
        ...

    def state(self) -> FixtureState:
        """Ask for the fixture's state."""
        ...

    def set_route(self, route: Route) -> Interlocks:
        """Connect the coil to `route`; returns when the fixture reports it made.

        A source route comes with a `keep_alive` of its own.
        """
        ...

    def set_height(self, height_m: float) -> None:
        """Move the field sensor to `height_m` above the top copper; `InstrumentReported` if out of range."""
        ...

    def retract(self) -> None:
        """Move the field sensor out of the coil's way (before L is measured)."""
        ...

    def measure_field(self, *, mains_cycles: int) -> Reading:
        """Return the flux density, averaged over whole mains cycles. Positive is away from the coil."""
        ...

    def field_group(self, *, mains_cycles: int) -> Group[Reading]:
        """Return an empty group of flux densities; it proves that the route was held from first to last.

        The route must not be set while the group is in use.
        """
        ...

    def check_contacts(self) -> Sequence[Reading]:
        """Return force-to-sense resistance of each pad, start then end; status SENSOR_OPEN for no contact.

        Needs route KELVIN_CHECK.
        """
        ...

    def keep_alive(self) -> Interlocks:
        """Tell the fixture's dead-man that somebody is in charge; return guard and hand stop."""
        ...


class Thermometer(Instrument, Protocol):
    """Temperature near the coil, and of the ambient."""

    def measure(self) -> tuple[Reading, Reading]:
        """Return (coil, ambient) temperature, fresh since the call. A missing one is a status, not cold."""
        ...

    def group(self) -> Group[tuple[Reading, Reading]]:
        """Return an empty group of temperatures as `measure` gives them, proved by one closing query."""
        ...
