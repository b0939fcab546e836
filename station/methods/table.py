"""Which function carries out which method of a plan. A new method is a new module and one line here."""

from collections.abc import Callable

from station.core.plan import (
    ContactStep,
    FieldStep,
    HeatingStep,
    InductanceStep,
    MethodStep,
    ResistanceStep,
)
from station.errors import PlanError
from station.methods.contact import measure_contact
from station.methods.context import Context, Outcome
from station.methods.field import measure_field
from station.methods.heating import measure_heating
from station.methods.inductance import measure_inductance
from station.methods.resistance import measure_resistance

_METHODS: dict[type[MethodStep], Callable[..., Outcome]] = {
    ContactStep: measure_contact,
    ResistanceStep: measure_resistance,
    InductanceStep: measure_inductance,
    FieldStep: measure_field,
    HeatingStep: measure_heating,
}


def carry_out(context: Context, step: MethodStep) -> Outcome:
    """Measure what `step` asks for.

    Raises:
        PlanError: this version has no such method; refused when a plan is released, so never in a run.
        NotMeasured: no number that can be believed.
        InstrumentError: an instrument or its link failed.
    """
    method = _METHODS.get(type(step))
    if method is None:
        raise PlanError(f"method '{step.method}' can't be measured by this version; leave it out of the plan")
    return method(context, step)


def can_carry_out(step: MethodStep) -> bool:
    """Tell whether this version measures `step`."""
    return type(step) in _METHODS
