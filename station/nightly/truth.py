"""What a perfect bench would find of a simulated coil, whether the coil conforms, and which bins claim its values."""

from collections.abc import Mapping, Sequence

from sim.truth import CoilTruth
from station.coil.heating import Drive, steady_state
from station.core.characteristics import TIME_CONSTANT_NAME, field_name, rise_name, thermal_resistance_name
from station.core.plan import BinFor, FieldStep, HeatingStep, Interval, Plan
from station.nightly.scenario import DEFECTS

CURED_BY_SEATING = ("poor_contact",)
"""Defects of the seat: the coil itself is good."""

CAUSE_OF = {
    "open": "open",
    "shorted_turns": "shorted_turns",
    "layer_short": "short_between_layers",
    "high_resistance": "narrow_or_thin_copper",
    "poor_contact": "poor_contact",
    "other_part": "wrong_part",
    "metal": "metal_near_coil",
}
"""What the station should name, by what was done to the unit."""


def true_values(plan: Plan, coil: CoilTruth, *, ambient_degc: float = 23.0) -> dict[str, float]:
    """Return the true values of R20 (ohm), L (H) at 100 kHz, B per ampere (T/A), rises (K), Rth (K/W), tau (s).

    The field is that at the stated height over where a flat film's top copper is: so the plan states it. Rises are
    those at exactly the plan's drives, in closed form (`station.coil.heating.steady_state`).
    """
    values = {"R20": coil.resistance_20_ohm, "L": coil.inductance_h}
    for step in plan.steps:
        if isinstance(step, FieldStep):
            values |= {field_name(each): coil.flux_density_t_per_a(each, 0.0) for each in step.heights_m}
        if isinstance(step, HeatingStep) and not coil.open:
            values |= _heated(step, coil, ambient_degc)
    return values


def _heated(step: HeatingStep, coil: CoilTruth, ambient_degc: float) -> dict[str, float]:
    per_watt = sum(each.thermal_resistance_k_per_w for each in coil.thermal)
    values = {thermal_resistance_name(step.mounting): per_watt}
    if len(coil.thermal) == 1:
        values[TIME_CONSTANT_NAME] = coil.thermal[0].time_constant_s
    for drive in step.drives:
        by = Drive(voltage_v=drive) if step.drive_quantity == "voltage_v" else Drive(current_a=drive)
        steady = steady_state(
            coil.resistance_20_ohm, by, per_watt, ambient_degc, winding_constant_degc=coil.winding_constant_k
        )
        values[rise_name(drive, step.drive_quantity)] = steady.rise_k
    return values


def bins_claiming(plan: Plan, values: Mapping[str, float | None]) -> Sequence[int]:
    """Return the numbers of the plan's bins for passed units whose every interval holds the unit's value.

    Written apart from the station's own sorting on purpose: it is what that is held against. A characteristic that
    has no value is None or left out, and meets "not due" only.
    """
    return [
        each.number
        for each in plan.bins
        if each.takes is BinFor.PASS and all(_holds(interval, values.get(name)) for name, interval in each.needs)
    ]


def _holds(interval: Interval | None, value: float | None) -> bool:
    if interval is None or value is None:
        return interval is None and value is None
    if value == interval.lower:
        return interval.lower_included
    if value == interval.upper:
        return interval.upper_included
    return (interval.lower is None or interval.lower < value) and (interval.upper is None or value < interval.upper)


def conforms(plan: Plan, coil: CoilTruth) -> bool:
    """Tell whether every true value lies within its tolerance limits, ends included (JCGM 106: conforming)."""
    values = true_values(plan, coil)
    for each in plan.characteristics:
        value = values.get(each.name)
        if value is None:
            continue
        if (each.lower is not None and value < each.lower) or (each.upper is not None and value > each.upper):
            return False
    return True


def damaged(coil: CoilTruth) -> bool:
    """Tell whether the coil itself has a defect, be its values within limits or not."""
    return coil.defect in DEFECTS and coil.defect not in CURED_BY_SEATING
