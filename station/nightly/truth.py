"""What a perfect bench would find of a simulated coil, and whether the coil conforms."""

from sim.truth import CoilTruth
from station.core.characteristics import field_name
from station.core.plan import FieldStep, Plan
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


def true_values(plan: Plan, coil: CoilTruth) -> dict[str, float]:
    """Return the true values of R20 (ohm), L (H) at 100 kHz and B per ampere (T/A), by characteristic.

    The field is that at the stated height over where a flat film's top copper is: so the plan states it.
    """
    values = {"R20": coil.resistance_20_ohm, "L": coil.inductance_h}
    for step in plan.steps:
        if isinstance(step, FieldStep):
            values |= {field_name(each): coil.flux_density_t_per_a(each, 0.0) for each in step.heights_m}
    return values


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
