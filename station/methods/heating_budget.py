"""What a bench's instruments leave unknown of a rise: terms of the budget, and whether a plan asks too much.

The rise is (R/Rc)(k + Ta0) - (k + Ta): gains of the source drop out of the quotient, because hot and cold are
taken over the same path. What is left: counts (they weigh more at a low level), contacts, the winding constant,
the ambient's thermometer, and that the coil at rest may not have been at the ambient.
"""

import math

from drivers.readings import Quantity
from station.core.accuracy import half_width
from station.core.equipment import Accuracy
from station.core.plan import HeatingStep
from station.core.reasons import reason
from station.core.results import Term
from station.core.uncertainty import expanded_uncertainty
from station.methods.context import Context, NotMeasured, accuracy_term, width_term
from station.methods.heating_samples import Cold

WITHOUT_REMOTE_SENSE_K = 2.0
"""Half width if the source does not sense at the pads: leads and contacts heat and move (common practice, no
source: a source's own read-back is worth 1 K or more)."""

WINDING_CONSTANT_HALF_WIDTH = 1.0
"""k of copper is 234.5 or 235 by standard; plated copper may lie as far off again (from memory)."""


def counts_k(context: Context, cold: Cold, voltage_v: float, current_a: float) -> float:
    """Return the standard uncertainty that counts of the source's readings leave in a rise, in K.

    That part of the accuracy which is not proportional to the reading: it does not drop out between levels.
    """
    kelvins = context.plan.winding_constant_k + cold.ambient_degc
    instrument = context.bench.setup.instrument("source")
    lines = () if instrument is None else instrument.accuracies
    relative = math.hypot(
        _fixed_width(lines, Quantity.VOLTAGE, voltage_v) / voltage_v,
        _fixed_width(lines, Quantity.CURRENT, current_a) / current_a,
    )
    return kelvins * relative / math.sqrt(3.0)


def _fixed_width(lines: tuple[Accuracy, ...], quantity: Quantity, value: float) -> float:
    """Half width of what is left of an accuracy without its part of the reading."""
    half_width(lines, quantity.value, value)  # refuses a reading that no line covers
    covering = [each for each in lines if each.quantity == quantity.value and each.lower <= value <= each.upper]
    return max(each.range_fraction * each.full_scale + each.counts * each.resolution for each in covering)


def bench_terms(context: Context, cold: Cold, rise_k: float) -> tuple[Term, ...]:
    """Return what the bench leaves unknown of a winding's rise of `rise_k`, in K; the readings' noise is not in it."""
    fixture = context.bench.setup.fixture
    kelvins = context.plan.winding_constant_k + cold.ambient_degc
    growth = rise_k / kelvins
    terms: tuple[Term, ...] = (
        width_term("winding constant", growth * WINDING_CONSTANT_HALF_WIDTH),
        # In series hot and cold alike: the ratio of the two comes out nearer to 1.
        width_term("contacts", -rise_k * fixture.contact_half_width_ohm / cold.resistance_ohm),
        # A coil that was warmer than its ambient had less far to rise from.
        width_term("cold winding against ambient", -fixture.coil_temperature_half_width_k),
        accuracy_term(
            context,
            "thermometer",
            Quantity.TEMPERATURE_AMBIENT,
            cold.ambient_degc,
            name="ambient thermometer",
            sensitivity=growth,
        ),
    )
    if cold.still_warm_k:
        terms = (*terms, Term("still warm", cold.still_warm_k))
    if fixture.remote_sense:
        return terms
    return (*terms, width_term("no remote sense", WITHOUT_REMOTE_SENSE_K))


def require_fine_enough(context: Context, step: HeatingStep, cold: Cold, rise_k: float) -> None:
    """Raise `NotMeasured` if the bench alone leaves more unknown (95 %) than the plan's target allows."""
    allowed_k = step.target_k or step.target_fraction * abs(rise_k)
    unknown_k = expanded_uncertainty(bench_terms(context, cold, rise_k))
    if unknown_k > allowed_k:
        raise NotMeasured(
            reason("bench_too_coarse", wanted=f"{allowed_k:.2g} K", bench=f"{unknown_k:.2g} K of {rise_k:.3g} K")
        )


def power_terms(context: Context, voltage_v: float, current_a: float) -> tuple[Term, ...]:
    """Return what the source's accuracy leaves unknown of one over a power, relative."""
    return tuple(
        accuracy_term(context, "source", quantity, value, name=f"source {name}", sensitivity=-1.0 / value)
        for quantity, value, name in (
            (Quantity.VOLTAGE, voltage_v, "voltage"),
            (Quantity.CURRENT, current_a, "current"),
        )
    )
