"""What a simulated coil really is: the values that the bench is supposed to find."""

from collections.abc import Callable
from dataclasses import dataclass
from math import inf, isinf, pi

from sim.field import FieldPerAmpere

GOOD_CONTACT_OHM = 0.006
"""Force-to-sense resistance of a clean pad under two good needles (stated for the simulation)."""

OPEN_OHM = inf


@dataclass(frozen=True, slots=True)
class ThermalTerm:
    """One term of the rise above ambient: it settles at power x resistance with its own time constant."""

    thermal_resistance_k_per_w: float
    heat_capacity_j_per_k: float

    @property
    def time_constant_s(self) -> float:
        """Return thermal resistance times heat capacity."""
        return self.thermal_resistance_k_per_w * self.heat_capacity_j_per_k


@dataclass(frozen=True, slots=True)
class SkinRise:
    """Resistance ratio Rs/Rdc = 1 + (f / corner)^2: skin and proximity effect while they are small."""

    corner_hz: float

    def __call__(self, frequency_hz: float) -> float:
        """Return Rs/Rdc at `frequency_hz`."""
        ratio = frequency_hz / self.corner_hz
        return 1.0 + ratio * ratio


@dataclass(frozen=True, slots=True)
class CoilTruth:
    """One coil as it is. Frozen: instruments look at it, only the world heats and moves it.

    `inductance_h` is that of the winding alone; `self_capacitance_f` in parallel makes the apparent one.
    `bow_m` is by how much the film's centre stands above the nest. A coil that is cut through has a
    `resistance_20_ohm` of infinity.
    """

    serial: str
    resistance_20_ohm: float
    inductance_h: float
    field_per_ampere: FieldPerAmpere
    resistance_ratio: Callable[[float], float] = SkinRise(4.0e6)
    field_scale: float = 1.0
    bow_m: float = 0.0
    self_capacitance_f: float = 0.0
    contact_start_ohm: float = GOOD_CONTACT_OHM
    contact_end_ohm: float = GOOD_CONTACT_OHM
    contact_cured_by_reseating: bool = False
    winding_impedance: Callable[[float, float], complex] | None = None
    """Impedance of a faulted winding at (frequency_hz, temperature_degc); None: R times its ratio, and L."""
    thermal: tuple[ThermalTerm, ...] = (ThermalTerm(70.0, 15.0 / 70.0),)
    surface_rise_ratio: float = 1.0
    winding_constant_k: float = 234.5
    defect: str = ""

    @property
    def open(self) -> bool:
        """Tell whether the winding is cut through."""
        return isinf(self.resistance_20_ohm)

    def contacts_ohm(self, seating: int) -> tuple[float, float]:
        """Return force-to-sense resistance of the start and the end pad at the `seating`-th time (from 1)."""
        if seating > 1 and self.contact_cured_by_reseating:
            return GOOD_CONTACT_OHM, GOOD_CONTACT_OHM
        return self.contact_start_ohm, self.contact_end_ohm

    def resistance_ohm(self, temperature_degc: float) -> float:
        """Return DC resistance at a winding temperature: R20 (k + T) / (k + 20), IEC 60034-1."""
        k = self.winding_constant_k
        return self.resistance_20_ohm * (k + temperature_degc) / (k + 20.0)

    def impedance_ohm(self, frequency_hz: float, temperature_degc: float) -> complex:
        """Return the complex impedance at the pads; infinite if the coil is cut through."""
        if self.open:
            return complex(inf, 0.0)
        omega = 2.0 * pi * frequency_hz
        winding = self._winding_ohm(frequency_hz, temperature_degc)
        if not self.self_capacitance_f:
            return winding
        return winding / (1.0 + winding * complex(0.0, omega * self.self_capacitance_f))

    def _winding_ohm(self, frequency_hz: float, temperature_degc: float) -> complex:
        if self.winding_impedance is not None and frequency_hz > 0.0:
            return self.winding_impedance(frequency_hz, temperature_degc)
        resistance = self.resistance_ohm(temperature_degc) * self.resistance_ratio(frequency_hz)
        return complex(resistance, 2.0 * pi * frequency_hz * self.inductance_h)

    def flux_density_t_per_a(self, height_m: float, lateral_m: float) -> float:
        """Return the axial flux density per ampere at a height over where a flat film's top copper is."""
        return self.field_scale * self.field_per_ampere(height_m - self.bow_m, lateral_m)


def shorting_piece() -> CoilTruth:
    """Return the piece of copper that is put into the nest for the short correction."""
    return CoilTruth("SHORT", 0.0, 0.0, _no_field, resistance_ratio=_unity, thermal=())


def _no_field(height_m: float, lateral_m: float) -> float:
    return 0.0


def _unity(frequency_hz: float) -> float:
    return 1.0
