"""The one world that the instruments of a bench share: coil, temperatures, route, drive, sensor height."""

from dataclasses import dataclass
from enum import StrEnum
from math import exp, inf

from sim.errors import QUIET, BenchErrors, NoiseLevels
from sim.noise import NoiseSource
from sim.truth import CoilTruth

RETRACTED_M = 0.020
"""Height of the retracted field sensor."""

EMPTY = "empty"
"""The unit's name in noise keys while the nest is empty."""

BURNT_DEGC = 180.0
"""Above this the film is spoilt (stated for the simulation)."""

METAL_REACH_M = 0.003


class Route(StrEnum):
    """What the fixture connects the coil to, in the words of its line protocol."""

    OPEN = "OPEN"
    LCR = "LCR"
    FORWARD = "FWD"
    REVERSE = "REV"
    KELVIN = "KELVIN"


DRIVEN_ROUTES = (Route.FORWARD, Route.REVERSE)


@dataclass(frozen=True, slots=True)
class Mishap:
    """Something that would have hurt hardware or hands: `kind` for tests, `words` for people."""

    time_s: float
    kind: str
    words: str


@dataclass(slots=True)
class Drive:
    """The source's output stage."""

    on: bool = False
    voltage_v: float = 0.0
    current_a: float = 0.0
    over_voltage_v: float = 22.0
    over_current_a: float = 2.2
    tripped: bool = False


class World:
    """Coil, ambient, route, source output and sensor height of one bench.

    Instruments call `advance` before they act, in order of time. All times are process seconds. Errors and
    noise of the instruments are kept here too, so that one seed and one draw describe the whole bench.
    """

    def __init__(
        self,
        *,
        seed: int = 0,
        errors: BenchErrors | None = None,
        noise: NoiseLevels = QUIET,
        ambient_degc: float = 23.0,
        ambient_drift_k_per_h: float = 0.0,
        keeps_heat: bool = False,
    ) -> None:
        self.errors = errors or BenchErrors()
        self.noise = noise
        self.drive = Drive()
        self.switched: list[tuple[float, bool]] = []
        """When the output went on (True) and off, whoever did it; who reads it may empty it."""
        self.coil: CoilTruth | None = None
        self.route = Route.OPEN
        self.height_m = RETRACTED_M
        self.hand_stop = False
        self.guard_closed = True
        self.mishaps: list[Mishap] = []
        self._noise_source = NoiseSource(seed)
        self._ambient_start_degc = ambient_degc
        self._ambient_drift_k_per_h = ambient_drift_k_per_h
        self.now_s = 0.0
        """The time up to which the world has been advanced; moved by `advance` only."""
        self._rises_k: list[float] = []
        self._thermal: tuple[tuple[float, float], ...] = ()
        self._longest_step_s = inf
        self._contacts_ohm = (inf, inf)
        self.contacted = False
        """Whether force and sense needles of both pads touch the loaded coil; moved by `load`, `unload` only."""
        self._keeps_heat = keeps_heat
        """Whether a coil that is loaded again is as warm as it was when unloaded, less what it has lost since."""
        self._left: tuple[str, float, list[float]] = (EMPTY, 0.0, [])
        """The coil unloaded last: serial, when, rises."""
        self._seatings: dict[str, int] = {}
        self._burnt = False
        self._field_t_per_a: dict[tuple[float, float], float] = {}

    # Time and temperature.

    @property
    def ambient_degc(self) -> float:
        """Return the temperature of air and nest."""
        return self._ambient_start_degc + self._ambient_drift_k_per_h * self.now_s / 3600.0

    def set_ambient(self, temperature_degc: float) -> None:
        """Let the shop be at another temperature from now on."""
        self._ambient_start_degc += temperature_degc - self.ambient_degc

    @property
    def rise_k(self) -> float:
        """Return the winding's mean temperature above ambient."""
        return sum(self._rises_k)

    @property
    def coil_degc(self) -> float:
        """Return the winding's mean temperature; ambient if the nest is empty."""
        return self._ambient_start_degc + self._ambient_drift_k_per_h * self.now_s / 3600.0 + sum(self._rises_k)

    @property
    def surface_degc(self) -> float:
        """Return what a perfect thermometer on the film would show."""
        ratio = self.coil.surface_rise_ratio if self.coil else 1.0
        return self.ambient_degc + ratio * self.rise_k

    def advance(self, now_s: float) -> None:
        """Let the coil heat or cool up to `now_s`; a time in the past does nothing."""
        left_s = now_s - self.now_s
        if left_s <= 0.0:
            return
        power_w = self._power_w() if self.drive.on else 0.0
        if power_w:
            self._heat(left_s, power_w)
        elif any(self._rises_k):
            self._relax(left_s, 0.0)
        self.now_s = now_s

    def _heat(self, seconds: float, power_w: float) -> None:
        """Let the driven coil heat, `power_w` at the start: R follows T, so in short steps (Heun)."""
        steps = int(seconds / self._longest_step_s) + 1
        for index in range(steps):
            self._heat_step(seconds / steps, power_w if index == 0 else self._power_w())
        if self.coil_degc > BURNT_DEGC and not self._burnt:
            self._burnt = True
            self.mishap("burnt", f"coil {self.unit} reached {self.coil_degc:.0f} degC")

    def _heat_step(self, step_s: float, power_w: float) -> None:
        """Take one step with the power of its mean temperature."""
        before = self._rises_k.copy()
        self._relax(step_s, power_w)
        mean_w = 0.5 * (power_w + self._power_w())
        self._rises_k = before
        self._relax(step_s, mean_w)

    def _relax(self, step_s: float, power_w: float) -> None:
        rises = self._rises_k
        for index, (thermal_resistance_k_per_w, time_constant_s) in enumerate(self._thermal):
            final = power_w * thermal_resistance_k_per_w
            rises[index] = final + (rises[index] - final) * exp(-step_s / time_constant_s)

    def _power_w(self) -> float:
        voltage_v, current_a = self.drive_point()
        return voltage_v * current_a

    # The coil.

    @property
    def unit(self) -> str:
        """Return the loaded unit's serial, or `EMPTY`."""
        return self.coil.serial if self.coil else EMPTY

    def load(self, coil: CoilTruth, *, warm_k: float = 0.0) -> None:
        """Put a coil into the nest, `warm_k` above ambient (a hand is warm)."""
        self._hands_in()
        self.coil = coil
        self._burnt = False
        self._field_t_per_a = {}
        self._rises_k = [0.0] * len(coil.thermal)
        if self._rises_k:
            self._rises_k[0] = warm_k
        self._thermal = tuple((each.thermal_resistance_k_per_w, each.time_constant_s) for each in coil.thermal)
        if self._left[0] == coil.serial:
            self._rises_k = self._left[2]
            self._relax(self.now_s - self._left[1], 0.0)
        self._longest_step_s = min((each[1] for each in self._thermal), default=inf) / 25.0
        self._seatings[coil.serial] = self._seatings.get(coil.serial, 0) + 1
        self._contacts_ohm = coil.contacts_ohm(self._seatings[coil.serial])
        self.contacted = max(self._contacts_ohm) < inf
        self.check_protection()

    def unload(self) -> None:
        """Take the coil out of the nest."""
        self._hands_in()
        if self._keeps_heat:
            self._left = (self.unit, self.now_s, self._rises_k)
        self.coil = None
        self._rises_k = []
        self._thermal = ()
        self._contacts_ohm = (inf, inf)
        self.contacted = False

    def _hands_in(self) -> None:
        if self._driven():
            self.mishap("hands_in_driven_nest", "the nest was touched while the coil was driven")

    def contacts_ohm(self) -> tuple[float, float]:
        """Return true force-to-sense resistance of both pads; infinite if the nest is empty."""
        return self._contacts_ohm

    # The drive.

    def drive_point(self) -> tuple[float, float]:
        """Return voltage at the sense terminals and current, as the source counts them: never negative."""
        drive = self.drive
        if not drive.on:
            return 0.0, 0.0
        set_v = drive.voltage_v * (1.0 + self.errors.source_output_gain)
        coil = self.coil
        if coil is None or self.route not in DRIVEN_ROUTES or self.hand_stop or not self.contacted:
            return set_v, 0.0
        resistance_ohm = coil.resistance_ohm(self.coil_degc)
        if resistance_ohm == inf:
            return set_v, 0.0
        if set_v <= drive.current_a * resistance_ohm and resistance_ohm > 0.0:
            return set_v, set_v / resistance_ohm
        return drive.current_a * resistance_ohm, drive.current_a

    @property
    def coil_current_a(self) -> float:
        """Return the current through the coil, negative on the reversed route."""
        current_a = self.drive_point()[1]
        return -current_a if self.route is Route.REVERSE else current_a

    def switch(self, *, on: bool) -> None:
        """Switch the output, and note when."""
        if on is not self.drive.on:
            self.switched.append((self.now_s, on))
        self.drive.on = on

    def _driven(self) -> bool:
        return self.drive.on and self.drive_point()[1] > 0.0

    def check_protection(self) -> None:
        """Switch the output off if voltage or current is above its protection."""
        drive = self.drive
        if not drive.on:
            return
        voltage_v, current_a = self.drive_point()
        if voltage_v > drive.over_voltage_v or current_a > drive.over_current_a:
            self.switch(on=False)
            drive.tripped = True

    def connect_route(self, route: Route, *, by_itself: bool = False) -> None:
        """Connect the coil to `route`. `by_itself`: an interlock opens it, which is no mishap."""
        if route is not self.route and self.drive.on and not by_itself:
            live = self.route in DRIVEN_ROUTES or route in DRIVEN_ROUTES
            if live:
                self.mishap("hot_switching", f"route {self.route} to {route} with the source's output on")
        self.route = route
        self.check_protection()

    # What sensors feel.

    def flux_density_t(self) -> float:
        """Return the true flux density at the field sensor, offsets of the bench's geometry included."""
        if self.coil is None:
            return 0.0
        current_a = self.coil_current_a
        if not current_a:
            return 0.0
        errors = self.errors
        place = self.height_m + errors.height_offset_m, abs(errors.lateral_offset_m)
        field_t_per_a = self._field_t_per_a.get(place)
        if field_t_per_a is None:
            # Kept while the coil stays: each height is measured four times.
            field_t_per_a = self._field_t_per_a[place] = self.coil.flux_density_t_per_a(*place)
        return current_a * field_t_per_a

    def coil_impedance_ohm(self, frequency_hz: float) -> complex:
        """Return the impedance at the fixture's needles; 0 Hz for DC. Infinite if nothing is there."""
        if self.coil is None or not self.contacted or self.coil.open:
            return complex(inf, 0.0)
        if frequency_hz == 0.0:
            return complex(self.coil.resistance_ohm(self.coil_degc), 0.0)
        impedance = self.coil.impedance_ohm(frequency_hz, self.coil_degc)
        metal = self.errors.sensor_metal_effect
        if not metal:
            return impedance
        return complex(impedance.real, impedance.imag * (1.0 - metal * exp(-self.height_m / METAL_REACH_M)))

    def noise_of(self, channel: str) -> float:
        """Return the next standard normal number of a channel for the loaded unit."""
        return self._noise_source.next(self.unit, channel)

    def mishap(self, kind: str, words: str) -> None:
        """Note that something would have been damaged or somebody hurt."""
        self.mishaps.append(Mishap(self.now_s, kind, words))
