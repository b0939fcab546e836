"""Drive compensation: what each coil of a group needs for the same field at a height, and what it heats.

Four ways are compared: the same voltage for all, the same current for all, each its own current, each its own duty of
one voltage. The winding's resistance is taken at the temperature it settles at (`station.coil.heating`).

CAUTION: what is computed here is steady and of the mean winding; coils get hot enough to burn. Measure the hottest one
before a drive is released.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from station.coil.constants import WINDING_CONSTANT_DEGC
from station.coil.heating import Drive, SteadyState, steady_state
from station.quality.readings import StudyDataError


@dataclass(frozen=True, slots=True)
class DrivenCoil:
    """What is known of one coil of the group."""

    serial: str
    resistance_20_ohm: float
    field_t_per_a: float
    """Axial flux density by ampere at the height."""
    thermal_resistance_k_per_w: float


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What is the same for all coils of a group."""

    ambient_degc: float
    winding_constant_degc: float = WINDING_CONSTANT_DEGC


@dataclass(frozen=True, slots=True)
class DriveOfCoil:
    """One coil under one way of driving, steady."""

    serial: str
    current_a: float
    """Mean over the switching period where there is a duty."""
    duty: float | None
    """Share of the time that the voltage is on; None without switching. Above 1: the voltage is too low."""
    voltage_v: float
    """Across the winding while driven."""
    field_t: float
    rise_k: float
    """Infinite if a constant current runs away."""
    power_w: float


@dataclass(frozen=True, slots=True)
class DriveWay:
    """A way of driving the group."""

    name: str
    coils: tuple[DriveOfCoil, ...]
    field_spread: float
    """(largest - smallest) / mean field."""
    hottest_k: float
    possible: bool
    """False if a coil needs more voltage than there is, or runs away."""
    note: str


def compare_drives(
    coils: Sequence[DrivenCoil], field_t: float, around: Surroundings, *, supply_v: float | None = None
) -> tuple[DriveWay, ...]:
    """Return the four ways, each made so that the group's mean field is `field_t` (exactly, of each coil, by current).

    Duty: the supply is switched fast against the thermal and slowly against the electrical time constant (for a coil
    of 12 uH and 8 ohm: 1.5 us), so that the current settles in each pulse. Then the mean power is V I_mean = V B / b,
    whatever R is: rise = Rth V B / b.

    Args:
        supply_v: of the duty; None: a tenth above what the neediest coil needs.

    Raises:
        StudyDataError: no coil, or a number that is not finite and above 0.
    """
    _check(coils, field_t)
    own = tuple(_by_current(coil, field_t / coil.field_t_per_a, around) for coil in coils)
    mean_b = float(np.mean([coil.field_t_per_a for coil in coils]))
    same = tuple(_by_current(coil, field_t / mean_b, around) for coil in coils)
    supply = supply_v if supply_v is not None else _supply(coils, field_t, around)
    duty = tuple(_by_duty(coil, field_t, supply, around) for coil in coils)
    voltage = _same_voltage(coils, field_t, around)
    return (
        _way("same voltage", voltage, "field goes as 1/R, and falls as the winding warms"),
        _way("same current", same, "resistance does not matter; field by ampere does"),
        _way("own current", own, "field equal by setting"),
        _way("own duty", duty, f"of {supply:.4g} V, current settles in each pulse; set for the warm winding"),
    )


def _check(coils: Sequence[DrivenCoil], field_t: float) -> None:
    numbers = [field_t]
    for coil in coils:
        numbers += [coil.resistance_20_ohm, coil.field_t_per_a, coil.thermal_resistance_k_per_w]
    if not coils or not all(0.0 < each < float("inf") for each in numbers):
        raise StudyDataError("a group needs a coil or more, with resistance, field, and thermal resistance above 0")


def _steady(coil: DrivenCoil, drive: Drive, around: Surroundings) -> SteadyState:
    return steady_state(
        coil.resistance_20_ohm,
        drive,
        coil.thermal_resistance_k_per_w,
        around.ambient_degc,
        winding_constant_degc=around.winding_constant_degc,
    )


def _by_current(coil: DrivenCoil, current_a: float, around: Surroundings) -> DriveOfCoil:
    end = _steady(coil, Drive(current_a=current_a), around)
    return DriveOfCoil(
        coil.serial,
        current_a,
        None,
        current_a * end.resistance_ohm,
        current_a * coil.field_t_per_a,
        end.rise_k,
        end.power_w,
    )


def _by_voltage(coil: DrivenCoil, voltage_v: float, around: Surroundings) -> DriveOfCoil:
    end = _steady(coil, Drive(voltage_v=voltage_v), around)
    current = voltage_v / end.resistance_ohm
    return DriveOfCoil(
        coil.serial, current, None, voltage_v, current * coil.field_t_per_a, end.rise_k, end.power_w
    )


def _same_voltage(coils: Sequence[DrivenCoil], field_t: float, around: Surroundings) -> tuple[DriveOfCoil, ...]:
    """The voltage whose mean field is the one asked for: field rises with voltage, so halving finds it."""

    def mean_field(voltage_v: float) -> float:
        return float(np.mean([_by_voltage(coil, voltage_v, around).field_t for coil in coils]))

    high = field_t / min(coil.field_t_per_a for coil in coils) * max(coil.resistance_20_ohm for coil in coils)
    for _ in range(200):
        if mean_field(high) >= field_t:
            break
        high *= 2.0
    low = 0.0
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if mean_field(middle) < field_t else (low, middle)
    return tuple(_by_voltage(coil, high, around) for coil in coils)


def _supply(coils: Sequence[DrivenCoil], field_t: float, around: Surroundings) -> float:
    """A tenth above the voltage at which the neediest coil is on all the time."""
    needed = [_by_current(coil, field_t / coil.field_t_per_a, around).voltage_v for coil in coils]
    return 1.1 * max(needed)


def _by_duty(coil: DrivenCoil, field_t: float, supply_v: float, around: Surroundings) -> DriveOfCoil:
    mean_a = field_t / coil.field_t_per_a
    power = supply_v * mean_a
    rise = power * coil.thermal_resistance_k_per_w
    warm = around.winding_constant_degc + around.ambient_degc + rise
    resistance = coil.resistance_20_ohm * warm / (around.winding_constant_degc + 20.0)
    duty = mean_a * resistance / supply_v
    return DriveOfCoil(coil.serial, mean_a, duty, supply_v, field_t, rise, power)


def _way(name: str, coils: tuple[DriveOfCoil, ...], note: str) -> DriveWay:
    fields = [coil.field_t for coil in coils]
    hottest = max(coil.rise_k for coil in coils)
    possible = np.isfinite(hottest) and all(coil.duty is None or coil.duty <= 1.0 for coil in coils)
    spread = (max(fields) - min(fields)) / float(np.mean(fields))
    return DriveWay(name, coils, spread, float(hottest), bool(possible), note)
