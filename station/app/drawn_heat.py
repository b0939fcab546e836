"""How warm a simulated coil of one's own drawing gets: what its thermal reference unit is known to have."""

from math import sqrt

from sim.lot import truth_near
from station.coil.heating import WINDING_CONSTANT_DEGC, Drive, steady_state
from station.core.characteristics import (
    TIME_CONSTANT_NAME,
    largest_drive_name,
    rise_name,
    surface_rise_name,
    thermal_resistance_name,
)
from station.core.plan import HeatingStep, Plan

AMBIENT_DEGC = 23.0
"""Of a simulated bench when it starts."""


def drawn_rises(plan: Plan, resistance_20_ohm: float) -> dict[str, float]:
    """Return what a simulated coil comes to where the plan heats, by characteristic, SI; empty if it does not heat.

    A free film of the simulation's own thermal resistance, in its ambient: steady rises in closed form
    (`coil.heating.steady_state`). A level that would pass the plan's temperature limit is not driven: it has no value.
    """
    values: dict[str, float] = {}
    for step in plan.steps:
        if isinstance(step, HeatingStep):
            values |= _of_step(step, resistance_20_ohm)
    return values


def _of_step(step: HeatingStep, resistance_20_ohm: float) -> dict[str, float]:
    (term,) = truth_near("").thermal
    rth, by_voltage = term.thermal_resistance_k_per_w, step.drive_quantity == "voltage_v"
    values = {TIME_CONSTANT_NAME: term.time_constant_s}
    for level in step.drives:
        drive = Drive(voltage_v=level) if by_voltage else Drive(current_a=level)
        rise_k = steady_state(resistance_20_ohm, drive, rth, AMBIENT_DEGC).rise_k
        if AMBIENT_DEGC + rise_k < step.temperature_limit_degc:
            values[rise_name(level, step.drive_quantity)] = rise_k
            # A film is as warm outside as inside.
            values[surface_rise_name(level, step.drive_quantity)] = rise_k
    if step.mounting:
        values[thermal_resistance_name(step.mounting)] = rth
    power_w = (step.temperature_limit_degc - step.ambient_degc) / rth
    hot = (WINDING_CONSTANT_DEGC + step.temperature_limit_degc) / (WINDING_CONSTANT_DEGC + 20.0)
    hot_ohm = resistance_20_ohm * hot
    values[largest_drive_name(step)] = sqrt(power_w * hot_ohm) if by_voltage else sqrt(power_w / hot_ohm)
    return values
