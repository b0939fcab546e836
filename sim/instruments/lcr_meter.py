"""What both simulated LCR meters have in common: the measuring front end behind the words.

Not imitated: the test level's effect on the reading, DC bias, list sweep, comparator, autorange hunting,
accuracy that depends on frequency (draw the errors for the frequency in use), corrections by frequency: a
correction is kept as one resistance, one inductance and one capacitance.
"""

from dataclasses import dataclass
from math import atan2, inf, pi, sqrt

from sim.errors import LCR_RANGES_OHM
from sim.hum import averaged_hum
from sim.instruments.line import Work
from sim.instruments.scpi import CommandError, ScpiInstrument, number
from sim.world import Route, World

AVERAGE_S = 0.020
CORRECTION_S = 2.0
HEADROOM = 1.1
"""A coil above this times the range is overload."""

AFTER_RANGE_CHANGE = 1.01
"""The first reading after a change of range is 1 % off: whoever keeps it will see it."""

_OMEGA = 2.0 * pi


@dataclass(frozen=True, slots=True)
class Measured:
    """One measurement: status `good`, `overload`, `no_number` or `stale`, and the two numbers if good."""

    status: str
    primary: float = 0.0
    secondary: float = 0.0


NO_MEASUREMENT = Measured("stale")


class LcrMeter(ScpiInstrument):
    """Measures what the route connects it to. Models differ in `handlers` and in how they write numbers."""

    def __init__(self, name: str, world: World, identity: str) -> None:
        super().__init__(name, world, identity)
        self._short_ohm = complex(0.0)
        self._short_hz = 1.0
        self._stray_corrected = False
        self._held: Measured | None = None
        self.reset()

    def reset(self) -> None:
        """Go to the state that `*RST` defines: Ls+Rs, 1 kHz, 1 V, no averaging, autorange."""
        self.function = "LSRS"
        self.frequency_hz = 1000.0
        self.level_v = 1.0
        self.averaging = 1
        self.range_ohm = 100.0
        self.auto_range = True
        self._range_changed = True
        self.last = NO_MEASUREMENT

    # Settings.

    def set_frequency(self, argument: str) -> None:
        """Set the measuring frequency, 20 Hz to 2 MHz."""
        self.frequency_hz = number(argument, 20.0, 2e6)
        self.last = NO_MEASUREMENT

    def set_level(self, argument: str) -> None:
        """Set the test level, 0.01 to 2 V."""
        self.level_v = number(argument, 0.01, 2.0)
        self.last = NO_MEASUREMENT

    def set_averaging(self, argument: str) -> None:
        """Set how many readings are averaged, 1 to 128."""
        self.averaging = int(number(argument, 1, 128))
        self.last = NO_MEASUREMENT

    def set_range(self, argument: str) -> None:
        """Set a fixed range; only the six that there are."""
        range_ohm = number(argument, 1.0, 1e5)
        if range_ohm not in LCR_RANGES_OHM:
            raise CommandError(-222, "Data out of range")
        self._range_changed |= self.auto_range or range_ohm != self.range_ohm
        self.range_ohm = range_ohm
        self.auto_range = False
        self.last = NO_MEASUREMENT

    def set_auto_range(self, argument: str) -> None:
        """Switch autorange on or off; off keeps the present range."""
        states = {"ON": True, "1": True, "OFF": False, "0": False}
        if argument.upper() not in states:
            raise CommandError(-104, "Data type error")
        self.auto_range = states[argument.upper()]
        self.last = NO_MEASUREMENT

    def set_function(self, function: str) -> None:
        """Set what is measured: `LSRS LPRP LSQ ZTR RDC`."""
        self.function = function
        self.last = NO_MEASUREMENT

    # Measuring.

    @property
    def measuring_s(self) -> float:
        """Return how long one measurement takes."""
        return AVERAGE_S * self.averaging

    def take(self) -> Measured:
        """Measure now and keep the result in `last`; a frozen meter keeps the last one, overload or not."""
        if not (self.impairments.frozen and self._held):
            self._held = self._measure()
        self.last = self._held
        return self.last

    def correcting(self, which: str) -> Work:
        """Return the work of taking the `open` or `short` correction with whatever the route shows."""

        def finish(now_s: float) -> bytes:
            if which == "short":
                self._short_ohm = self._seen_ohm(self.frequency_hz)
                self._short_hz = self.frequency_hz
                if abs(self._short_ohm) == inf:
                    self._short_ohm = complex(0.0)
                    self.report_error(-222, "Data out of range")
            else:
                self._stray_corrected = self._seen_ohm(self.frequency_hz) == complex(inf, 0.0)
                if not self._stray_corrected:
                    self.report_error(-222, "Data out of range")
            self.last = NO_MEASUREMENT
            return b""

        return Work(CORRECTION_S, finish)

    def _seen_ohm(self, frequency_hz: float) -> complex:
        if self.world.route is not Route.LCR:
            return complex(inf, 0.0)
        impedance = self.world.coil_impedance_ohm(frequency_hz)
        errors = self.world.errors
        if impedance.real == inf:
            return impedance
        return impedance + complex(
            errors.lead_resistance_ohm, _OMEGA * frequency_hz * errors.lead_inductance_h
        )

    def _measure(self) -> Measured:
        world = self.world
        # Whatever it shows, a measurement ends the settling: an overload is one too.
        settling = AFTER_RANGE_CHANGE if self._range_changed else 1.0
        self._range_changed = False
        if self.overloaded():
            return Measured("overload")
        if world.route is Route.LCR and world.coil is not None and not world.contacted:
            return Measured("no_number")
        frequency_hz = 0.0 if self.function == "RDC" else self.frequency_hz
        seen = self._seen_ohm(frequency_hz)
        if self.auto_range:
            self._choose_range(abs(seen))
            settling = 1.0
        if abs(seen) > HEADROOM * self.range_ohm:
            return Measured("overload")
        if frequency_hz == 0.0:
            return self._dc(seen.real * settling)
        return self._pair(self._shown(seen * settling, frequency_hz), frequency_hz)

    def _choose_range(self, magnitude_ohm: float) -> None:
        fitting = (item for item in LCR_RANGES_OHM if magnitude_ohm <= HEADROOM * item)
        self.range_ohm = next(fitting, LCR_RANGES_OHM[-1])

    def _dc(self, resistance_ohm: float) -> Measured:
        error = self.world.errors.lcr_error(self.range_ohm)
        resistance_ohm -= self._short_ohm.real
        noise = self._noise(self.world.noise.lcr_dc, "rdc")
        hum = self.world.noise.hum
        if hum.lcr_dc:
            noise += hum.lcr_dc * averaged_hum(hum.mains_hz, self.world.now_s, self.measuring_s)
        shown = resistance_ohm * (1.0 + error.dc_gain + noise) + error.dc_offset_ohm
        return Measured("good", *self.reading("RDC", shown, 0.0))

    def _noise(self, level: float, channel: str) -> float:
        if not level:
            return 0.0
        return level / sqrt(self.averaging) * self.world.noise_of(f"{self.name} {channel}")

    def _shown(self, seen: complex, frequency_hz: float) -> complex:
        """Strays, corrections, errors and noise: what the meter makes of what it sees."""
        errors = self.world.errors
        if errors.stray_capacitance_f and not self._stray_corrected:
            seen /= 1.0 + seen * complex(0.0, _OMEGA * frequency_hz * errors.stray_capacitance_f)
        short = self._short_ohm
        seen -= complex(short.real, short.imag * frequency_hz / self._short_hz)
        error = errors.lcr_error(self.range_ohm)
        gain = error.gain + self._noise(self.world.noise.lcr, "gain")
        phase = error.phase_rad + self._noise(self.world.noise.lcr_phase_rad, "phase")
        # e^(j phase) to second order: phases here are below 0.01 rad.
        return seen * (1.0 + gain) * complex(1.0 - 0.5 * phase * phase, phase)

    def _pair(self, shown: complex, frequency_hz: float) -> Measured:
        omega = _OMEGA * frequency_hz
        resistance, reactance = shown.real, shown.imag
        if self.function == "LSRS":
            pair = (reactance / omega, resistance)
        elif self.function == "ZTR":
            pair = (abs(shown), atan2(reactance, resistance))
        elif resistance == 0.0 or reactance == 0.0:
            return Measured("no_number")
        elif self.function == "LSQ":
            pair = (reactance / omega, reactance / resistance)
        else:
            square = resistance * resistance + reactance * reactance
            pair = (square / (omega * reactance), square / resistance)
        return Measured("good", *self.reading(self.function, *pair))
