"""What comes out of a driver: readings with a status, identities."""

from dataclasses import dataclass
from enum import StrEnum


class Quantity(StrEnum):
    """What an instrument can be asked for. The unit is SI (temperature: degC, phase: rad)."""

    DC_RESISTANCE = "dc_resistance_ohm"
    SERIES_RESISTANCE = "series_resistance_ohm"
    PARALLEL_RESISTANCE = "parallel_resistance_ohm"
    SERIES_INDUCTANCE = "series_inductance_h"
    PARALLEL_INDUCTANCE = "parallel_inductance_h"
    QUALITY_FACTOR = "quality_factor"
    IMPEDANCE = "impedance_ohm"
    PHASE = "phase_rad"
    VOLTAGE = "voltage_v"
    CURRENT = "current_a"
    FLUX_DENSITY = "flux_density_t"
    TEMPERATURE_COIL = "temperature_coil_degc"
    TEMPERATURE_AMBIENT = "temperature_ambient_degc"
    CONTACT_RESISTANCE = "contact_resistance_ohm"


class ReadingStatus(StrEnum):
    """Whether a reading has a value, and if not, why."""

    GOOD = "good"
    OVERLOAD = "overload"
    """Beyond the range: 9.9E37 and its kin, or the instrument's overload flag."""
    NOT_A_NUMBER = "not_a_number"
    """The instrument says that it has no number: 9.91E37."""
    SENSOR_OPEN = "sensor_open"
    """A thermocouple, resistance thermometer or contact is open."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One quantity from one instrument at one time. `value` is None unless `status` is GOOD."""

    quantity: Quantity
    value: float | None
    status: ReadingStatus
    instrument: str
    monotonic_s: float
    raw: bytes

    @property
    def good(self) -> bool:
        """Tell whether the reading has a value."""
        return self.status is ReadingStatus.GOOD


@dataclass(frozen=True, slots=True)
class Identity:
    """Who answered: the four fields of the IEEE 488.2 identity, or their like on other protocols."""

    maker: str
    model: str
    serial: str
    firmware: str

    def __str__(self) -> str:
        return ",".join((self.maker, self.model, self.serial, self.firmware))
