"""What is wrong with one bench: systematic errors (one draw a bench) and noise levels."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from sim.hum import NO_HUM, Hum
from sim.noise import key, uniform

LCR_RANGES_OHM = (1.0, 10.0, 100.0, 1e3, 1e4, 1e5)


@dataclass(frozen=True, slots=True)
class LcrError:
    """Errors of an LCR meter in one range.

    The meter sees Z (1 + gain) e^(j phase): L is off by gain + phase/Q and Rs by gain - phase Q, to first
    order. With gain and phase both of the order of the basic accuracy A, that of L is A sqrt(1 + 1/Q^2).
    DC resistance has a gain and an offset of its own.
    """

    gain: float = 0.0
    phase_rad: float = 0.0
    dc_gain: float = 0.0
    dc_offset_ohm: float = 0.0


NO_LCR_ERROR = LcrError()
NO_RANGE_ERRORS: Mapping[float, LcrError] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class BenchErrors:
    """Systematic errors of one bench; all zero unless said.

    A shown value is (1 + gain) x true value + offset.
    """

    lcr: Mapping[float, LcrError] = field(default_factory=lambda: NO_RANGE_ERRORS)
    lead_resistance_ohm: float = 0.0
    lead_inductance_h: float = 0.0
    stray_capacitance_f: float = 0.0
    source_output_gain: float = 0.0
    source_voltage_gain: float = 0.0
    source_voltage_offset_v: float = 0.0
    source_current_gain: float = 0.0
    source_current_offset_a: float = 0.0
    field_gain: float = 0.0
    field_offset_t: float = 0.0
    height_offset_m: float = 0.0
    lateral_offset_m: float = 0.0
    coil_thermometer_offset_k: float = 0.0
    ambient_thermometer_offset_k: float = 0.0
    contact_lead_ohm: float = 0.0
    contact_wear_ohm: float = 0.0
    """What each contact gains with every seating, as needles wear and get dirty."""
    sensor_metal_effect: float = 0.0
    """Relative loss of L with the field sensor at height 0; dies away over 3 mm."""

    def lcr_error(self, range_ohm: float) -> LcrError:
        """Return the meter's errors in a range."""
        return self.lcr.get(range_ohm, NO_LCR_ERROR)


@dataclass(frozen=True, slots=True)
class ErrorLimits:
    """Half-widths of what a bench's errors are drawn from: the accuracy that its data sheets promise."""

    lcr_gain: float = 0.0
    lcr_phase_rad: float = 0.0
    lcr_dc_gain: float = 0.0
    lcr_dc_offset_of_range: float = 0.0
    lead_resistance_ohm: float = 0.0
    lead_inductance_h: float = 0.0
    stray_capacitance_f: float = 0.0
    source_output_gain: float = 0.0
    source_voltage_gain: float = 0.0
    source_voltage_offset_v: float = 0.0
    source_current_gain: float = 0.0
    source_current_offset_a: float = 0.0
    field_gain: float = 0.0
    field_offset_t: float = 0.0
    height_offset_m: float = 0.0
    lateral_offset_m: float = 0.0
    coil_thermometer_offset_k: float = 0.0
    ambient_thermometer_offset_k: float = 0.0
    contact_lead_ohm: float = 0.0


GENERIC_LIMITS = ErrorLimits(
    lcr_gain=5e-4,
    lcr_phase_rad=5e-4,
    lcr_dc_gain=5e-4,
    lcr_dc_offset_of_range=1e-5,
    source_output_gain=1e-3,
    source_voltage_gain=5e-4,
    source_voltage_offset_v=5e-4,
    source_current_gain=1e-3,
    source_current_offset_a=1e-4,
    field_gain=5e-3,
    field_offset_t=2e-5,
    height_offset_m=5e-5,
    lateral_offset_m=2e-4,
    coil_thermometer_offset_k=0.3,
    ambient_thermometer_offset_k=0.3,
)
"""What ordinary instruments of the trade promise (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class NoiseLevels:
    """Standard deviation of each reading's noise, for one reading without averaging.

    `lcr` and `lcr_dc` are relative to the impedance, `lcr_phase_rad` is the phase's.
    """

    lcr: float = 0.0
    lcr_phase_rad: float = 0.0
    lcr_dc: float = 0.0
    source_voltage_v: float = 0.0
    source_current_a: float = 0.0
    field_t: float = 0.0
    temperature_k: float = 0.0
    contact_ohm: float = 0.0
    hum: Hum = NO_HUM


QUIET = NoiseLevels()
GENERIC_NOISE = NoiseLevels(
    lcr=1e-4,
    lcr_phase_rad=5e-5,
    lcr_dc=1e-4,
    source_voltage_v=5e-5,
    source_current_a=1e-5,
    field_t=3e-7,
    temperature_k=0.02,
    contact_ohm=2e-4,
)


def draw_errors(seed: int, half_widths: ErrorLimits) -> BenchErrors:
    """Draw one bench: each error rectangular within +- its half-width, independent; the LCR's by range."""

    def draw(name: str, half_width: float) -> float:
        return half_width * (2.0 * uniform(key("bench errors", seed, name)) - 1.0)

    by_range = {
        range_ohm: LcrError(
            gain=draw(f"lcr_gain {range_ohm}", half_widths.lcr_gain),
            phase_rad=draw(f"lcr_phase_rad {range_ohm}", half_widths.lcr_phase_rad),
            dc_gain=draw(f"lcr_dc_gain {range_ohm}", half_widths.lcr_dc_gain),
            dc_offset_ohm=draw(f"lcr_dc_offset {range_ohm}", half_widths.lcr_dc_offset_of_range * range_ohm),
        )
        for range_ohm in LCR_RANGES_OHM
    }
    others = {name: draw(name, getattr(half_widths, name)) for name in _PLAIN_ERRORS}
    return BenchErrors(lcr=MappingProxyType(by_range), **others)


_PLAIN_ERRORS = tuple(
    name for name in ErrorLimits.__dataclass_fields__ if name in BenchErrors.__dataclass_fields__
)
