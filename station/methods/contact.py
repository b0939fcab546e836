"""Contact: does every probe touch, before anything is believed.

Two looks. With the route open the meter must read open: a meter that repeats an old number, or a fixture
whose relay sticks, is found here. Then each pad's force probe must reach its sense probe through the pad.
"""

from drivers.instruments import LcrSetup, Route
from drivers.readings import Quantity, ReadingStatus
from station.core.plan import ContactStep, ResistanceStep
from station.core.reasons import reason
from station.methods.context import Context, NotMeasured, Outcome
from station.methods.ranges import resistance_range

PADS = ("start pad", "end pad")


def measure_contact(context: Context, step: ContactStep) -> Outcome:
    """Check the contacts; no characteristic comes of it.

    Raises:
        NotMeasured: the meter does not read open on an open route (`frozen_reading`), or a pad is not
            contacted (`contact_open`, `contact_poor`).
    """
    bench = context.bench
    bench.fixture.set_route(Route.OPEN)
    bench.lcr.configure(_setup(context))
    require_open(context)
    require_contacts(context)
    return Outcome(())


def require_open(context: Context) -> None:
    """Raise `NotMeasured` unless the meter, as it is set up now, reads open on the open route."""
    context.bench.fixture.set_route(Route.OPEN)
    for reading in context.bench.lcr.measure():
        if reading.status is ReadingStatus.GOOD:
            raise NotMeasured(reason("frozen_reading", instrument=reading.instrument))


def _setup(context: Context) -> LcrSetup:
    step = next((each for each in context.plan.steps if isinstance(each, ResistanceStep)), None)
    step = step or ResistanceStep("resistance", context.plan.steps[0].frequency)
    return LcrSetup(
        (Quantity.DC_RESISTANCE,),
        0.0,
        level_v=step.level_v,
        averaging=step.averaging,
        range_ohm=resistance_range(context.plan, step),
    )


def require_contacts(context: Context) -> tuple[float, ...]:
    """Raise `NotMeasured` unless each pad has contact; return their resistances in ohm, start pad, end pad.

    None are returned if plan or fixture can't tell.
    """
    step = next((each for each in context.plan.steps if isinstance(each, ContactStep)), None)
    if step is None or not context.bench.setup.fixture.kelvin_check:
        return ()
    context.bench.fixture.set_route(Route.KELVIN_CHECK)
    readings = context.bench.fixture.check_contacts()
    if len(readings) < len(PADS):
        raise NotMeasured(reason("contact_open", pad="a pad"))
    found: list[float] = []
    for pad, reading in zip(PADS, readings, strict=False):
        if reading.value is None:
            raise NotMeasured(reason("contact_open", pad=pad))
        if not reading.value <= step.limit_ohm:
            raise NotMeasured(reason("contact_poor", pad=pad, resistance=f"{reading.value:.2f} ohm"))
        found.append(reading.value)
    return tuple(found)
