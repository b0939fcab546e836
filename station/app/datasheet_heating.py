"""Heating for the datasheet: corners of what is promised, their rise over drive, and the largest drive for a rise."""

from collections.abc import Sequence

import numpy as np

from station.coil.heating import Drive, drive_for_rise, steady_state
from station.core.characteristics import rise_name, thermal_resistance_name
from station.core.plan import HeatingStep, Plan
from station.reports.datasheet import Line
from station.reports.datasheet_heating import HeatedCoil, Heating, MeasuredRise

USUAL_RISES_K = (10.0, 20.0, 40.0)
_POINTS = 80


def heating_of(plan: Plan, lines: Sequence[Line], rises_k: Sequence[float]) -> Heating | None:
    """Return what the datasheet says of heating; None if no rise is stated.

    `rises_k`: for which the largest drive is wanted; empty: the usual ones below the plan's temperature limit. The
    limit's own rise is always the last one.
    """
    step = next((each for each in plan.steps if isinstance(each, HeatingStep)), None)
    stated = {each.name: each.stated for each in lines}
    if step is None:
        return None
    names = [(drive, rise_name(drive, step.drive_quantity)) for drive in step.drives]
    measured = tuple(
        MeasuredRise(drive, stated[name].minimum, stated[name].typical, stated[name].maximum)
        for drive, name in names
        if name in stated
    )
    if not measured:
        return None
    limit_k = step.temperature_limit_degc - step.ambient_degc
    wanted = (*sorted(each for each in (rises_k or USUAL_RISES_K) if each < limit_k), limit_k)
    return Heating(
        drive_unit="V" if step.drive_quantity == "voltage_v" else "A",
        mounting=step.mounting,
        ambient_degc=step.ambient_degc,
        temperature_limit_degc=step.temperature_limit_degc,
        coils=_coils(plan, step, lines, wanted),
        measured=measured,
        rises_k=wanted,
    )


def _coils(plan: Plan, step: HeatingStep, lines: Sequence[Line], rises_k: Sequence[float]) -> tuple[HeatedCoil, ...]:
    stated = {each.name: each.stated for each in lines}
    resistance = stated.get("R20")
    thermal = stated.get(thermal_resistance_name(step.mounting)) if step.mounting else None
    if resistance is None or thermal is None:
        return ()
    by_voltage = step.drive_quantity == "voltage_v"
    # At a voltage the lowest resistance takes the most power, at a current the highest.
    low, high = (resistance.minimum, resistance.maximum) if by_voltage else (resistance.maximum, resistance.minimum)
    corners = (
        ("coolest", high, thermal.minimum),
        ("typical", resistance.typical, thermal.typical),
        ("hottest", low, thermal.maximum),
    )
    return tuple(
        _coil(plan, step, name, r20, rth, rises_k, by_voltage=by_voltage)
        for name, r20, rth in corners
        if r20 is not None and rth is not None and min(r20, rth) > 0.0
    )


def _coil(
    plan: Plan,
    step: HeatingStep,
    name: str,
    resistance_ohm: float,
    thermal_k_per_w: float,
    rises_k: Sequence[float],
    *,
    by_voltage: bool,
) -> HeatedCoil:
    k, ambient = plan.winding_constant_k, step.ambient_degc
    largest = tuple(
        drive_for_rise(resistance_ohm, rise, thermal_k_per_w, ambient, by_voltage=by_voltage, winding_constant_degc=k)
        for rise in rises_k
    )
    drives = np.linspace(0.0, max(largest[-1], *step.drives), _POINTS)
    rises = np.array(
        [
            steady_state(
                resistance_ohm,
                Drive(voltage_v=each) if by_voltage else Drive(current_a=each),
                thermal_k_per_w,
                ambient,
                winding_constant_degc=k,
            ).rise_k
            for each in drives.tolist()
        ]
    )
    kept = rises <= 1.05 * rises_k[-1]  # beyond the temperature limit nothing is promised
    return HeatedCoil(name, resistance_ohm, thermal_k_per_w, drives[kept], rises[kept], largest)
