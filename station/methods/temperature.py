"""The coil's temperature at rest, from the thermometer near it, checked against the ambient's."""

from drivers.readings import Quantity, Reading
from station.core.reasons import reason
from station.core.results import Term
from station.methods.context import Context, NotMeasured, accuracy_term, good_value, width_term

DISAGREE_K = 8.0
"""Coil's and ambient's thermometer further apart than this at rest: one of them can't be believed."""


def coil_temperature(readings: tuple[Reading, Reading]) -> float:
    """Return the temperature near the coil in degC, from what the thermometer measured there and of the ambient.

    Raises `NotMeasured` if a sensor is open or the two disagree by more than `DISAGREE_K`.
    """
    near, ambient = (good_value(each) for each in readings)
    if abs(near - ambient) > DISAGREE_K:
        raise NotMeasured(reason("thermometers_disagree", coil=f"{near:.1f}", ambient=f"{ambient:.1f}"))
    return near


def temperature_terms(context: Context, temperature_degc: float, per_kelvin: float) -> tuple[Term, ...]:
    """Return what not knowing the winding's temperature does to a result; `per_kelvin` is its sensitivity, signed."""
    return (
        accuracy_term(
            context,
            "thermometer",
            Quantity.TEMPERATURE_COIL,
            temperature_degc,
            name="thermometer",
            sensitivity=per_kelvin,
        ),
        width_term(
            "winding against thermometer",
            per_kelvin * context.bench.setup.fixture.coil_temperature_half_width_k,
        ),
    )
