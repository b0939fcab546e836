"""Check a bench beyond its identities: every intent of a plan, an empty nest, then a loaded one.

Nothing here judges a unit. Each check is one line: what was asked, what came, what to do.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date

from drivers.errors import InstrumentError
from drivers.instruments import LcrSetup, Route, SourceSetup
from drivers.readings import Quantity, ReadingStatus
from station.core.accuracy import half_width
from station.core.drawing import estimate_resistance_ohm
from station.core.gates import overdue_instruments
from station.core.plan import FieldStep, HeatingStep, InductanceStep, Plan, ResistanceStep
from station.errors import BenchError, StationError
from station.methods.context import Context, NotMeasured, good_value
from station.methods.heating import require_guarded, source_setup
from station.methods.heating_budget import require_fine_enough
from station.methods.heating_samples import Cold
from station.methods.ranges import impedance_range, resistance_range
from station.sequencer import RunBench

COLD_DEGC, WARM_DEGC = 5.0, 45.0
"""A workshop is between these, else a thermometer speaks another unit or is at the wrong place."""

STILL_FIELD_T = 2e-3
"""With no drive, more than this is a magnet near the nest, or a sensor that speaks another unit."""

SENSE_PART = 0.3
SENSE_SETTLE_S = 0.05
"""Remote sense is checked at so much of the first heating level, if no field is measured."""

SENSE_DIFFERENCE = 0.02
"""V / I at the coil may differ from the meter's resistance by this; leads in between make much more."""


@dataclass(frozen=True, slots=True)
class Check:
    """One check: `sound`, and what was found or is to be done."""

    name: str
    sound: bool
    words: str


def check_empty(bench: RunBench, plan: Plan | None, today: date) -> Iterator[Check]:
    """Yield what can be checked with the nest empty."""
    overdue = overdue_instruments(bench.setup, today)
    yield Check("calibration", not overdue, f"overdue: {', '.join(overdue)}" if overdue else "none overdue")
    for found in bench.identities:
        yield Check(f"identity of {found.name}", True, found.identity)
    for each in bench.setup.instruments:
        if not each.identity:
            yield Check(f"identity of {each.name}", False, "the bench file names none: any would be taken")
    yield _run("nest empty", lambda: _nest_empty(bench))
    yield _run("thermometers", lambda: _thermometers(bench))
    yield _run("field sensor at rest", lambda: _field_at_rest(bench))
    yield _run("contacts of the empty nest", lambda: _contacts_open(bench))
    if plan is not None:
        yield from _check_plan(bench, plan)


def check_loaded(bench: RunBench, plan: Plan) -> Iterator[Check]:
    """Yield what needs a good unit in the nest: contact, and whether the source senses at the pads."""
    yield _run("contacts", lambda: _contacts_made(bench))
    if any(isinstance(each, FieldStep | HeatingStep) for each in plan.steps):
        yield _run("remote sense", lambda: _remote_sense(bench, plan))


def _run(name: str, check: Callable[[], str]) -> Check:
    try:
        return Check(name, True, check())
    except NotMeasured as error:
        return Check(name, False, str(error))
    except (InstrumentError, StationError) as error:
        return Check(name, False, str(error))


def _fail(words: str) -> BenchError:
    return BenchError(words)


def _nest_empty(bench: RunBench) -> str:
    state = bench.fixture.state()
    if state.loaded:
        raise _fail("the nest reads loaded. Unload it; if it is empty, check the loaded switch.")
    if state.hand_stop or not state.guard_closed:
        raise _fail("the guard is open or the hand stop pressed. Close and release them.")
    bench.fixture.set_route(Route.OPEN)
    return f"empty, {state.contact_cycles} contact cycles"


def _thermometers(bench: RunBench) -> str:
    near, ambient = bench.thermometer.measure()
    for each in (near, ambient):
        if each.value is None:
            raise _fail(f"{each.quantity.value}: {each.status.value}. Check the sensor's plug.")
        if not COLD_DEGC < each.value < WARM_DEGC:
            raise _fail(f"{each.quantity.value} reads {each.value:.1f}: is it in degC, is it at its place?")
    return f"near the coil {near.value:.2f}, ambient {ambient.value:.2f} degC"


def _field_at_rest(bench: RunBench) -> str:
    reading = bench.fixture.measure_field(mains_cycles=2)
    if reading.value is None:
        raise _fail(f"the field sensor says {reading.status.value}. Check its plug.")
    if abs(reading.value) > STILL_FIELD_T:
        raise _fail(f"{reading.value * 1e3:.3g} mT with no drive: is it in nT on the wire, is a magnet near?")
    return f"{reading.value * 1e6:.1f} uT"


def _contacts_open(bench: RunBench) -> str:
    if not bench.setup.fixture.kelvin_check:
        return "not possible on this fixture: an open coil will be INVALID, never FAIL"
    bench.fixture.set_route(Route.KELVIN_CHECK)
    readings = bench.fixture.check_contacts()
    bench.fixture.set_route(Route.OPEN)
    closed = [each for each in readings if each.status is not ReadingStatus.SENSOR_OPEN]
    if closed:
        raise _fail("a pad's contacts touch with the nest empty. Clean the nest, look for a bent needle.")
    return "all open"


def _check_plan(bench: RunBench, plan: Plan) -> Iterator[Check]:
    for step in plan.steps:
        if isinstance(step, ResistanceStep):
            setup = LcrSetup(
                (Quantity.DC_RESISTANCE,), 0.0, step.level_v, step.averaging, resistance_range(plan, step)
            )
            yield _run("resistance of the empty nest", _opens(bench, setup))
            yield _run("accuracy for R20", lambda: _covered(bench, plan, "lcr", "R20", "dc_resistance_ohm"))
        if isinstance(step, InductanceStep):
            pair = (Quantity.SERIES_INDUCTANCE, Quantity.SERIES_RESISTANCE)
            setup = LcrSetup(
                pair, step.test_frequency_hz, step.level_v, step.averaging, impedance_range(plan, step)
            )
            yield _run("inductance of the empty nest", _opens(bench, setup))
            yield _run("accuracy for L", lambda: _covered(bench, plan, "lcr", "L", "series_inductance_h"))
        if isinstance(step, FieldStep):
            yield _run("source takes the drive", _drive_taken(bench, step))
            yield _run("heights", _heights_reached(bench, step))
        if isinstance(step, HeatingStep):
            yield _run("heating", _heating_possible(bench, plan, step))


def _opens(bench: RunBench, setup: LcrSetup) -> Callable[[], str]:
    def check() -> str:
        bench.fixture.set_route(Route.LCR)
        bench.lcr.configure(setup)
        readings = bench.lcr.measure()
        bench.fixture.set_route(Route.OPEN)
        if any(each.status is ReadingStatus.GOOD for each in readings):
            raise _fail("the meter reads a coil in an empty nest: a short in the fixture, or a stuck meter.")
        return f"open, range {setup.range_ohm:g} ohm"

    return check


def _covered(bench: RunBench, plan: Plan, kind: str, name: str, quantity: str) -> str:
    characteristic, instrument = plan.characteristic(name), bench.setup.instrument(kind)
    limits = () if characteristic is None else (characteristic.lower, characteristic.upper)
    step = next((each for each in plan.steps if isinstance(each, InductanceStep)), None)
    frequency_hz = step.test_frequency_hz if name == "L" and step is not None else None
    widths = [
        half_width(instrument.accuracies if instrument else (), quantity, each, frequency_hz=frequency_hz)[0]
        / abs(each)
        for each in limits
        if each
    ]
    return f"within {max(widths):.3%} at the limits" if widths else "no limits"


def _drive_taken(bench: RunBench, step: FieldStep) -> Callable[[], str]:
    def check() -> str:
        bench.source.configure(_small_drive(step, 1.0))
        return f"{step.drive_a:g} A within {step.voltage_limit_v:g} V, protection read back, output off"

    return check


def _heating_possible(bench: RunBench, plan: Plan, step: HeatingStep) -> Callable[[], str]:
    """Watched, fine enough for the target, and the source takes the highest drive."""

    def check() -> str:
        context = Context(bench, plan)
        require_guarded(context, step)
        ambient_degc = good_value(bench.thermometer.measure()[1])
        cold = Cold(estimate_resistance_ohm(plan.coil), ambient_degc, ambient_degc, 0.0)
        if step.target_k:
            require_fine_enough(context, step, cold, 0.0)
        bench.source.configure(source_setup(step, step.drives[-1]))
        return f"watched, protection read back, output off; touch limit {step.touch_limit_degc:g} degC"

    return check


def _heights_reached(bench: RunBench, step: FieldStep) -> Callable[[], str]:
    def check() -> str:
        if not bench.fixture.has_stage:
            return "no stage: the operator places spacers"
        for height_m in step.heights_m:
            bench.fixture.set_height(height_m)
        bench.fixture.retract()
        return ", ".join(f"{each * 1e3:g} mm" for each in step.heights_m)

    return check


def _contacts_made(bench: RunBench) -> str:
    if not bench.setup.fixture.kelvin_check:
        return "not possible on this fixture"
    bench.fixture.set_route(Route.KELVIN_CHECK)
    values = [each.value for each in bench.fixture.check_contacts()]
    if None in values:
        raise _fail("a pad has no contact. Seat the unit again, look at the needles.")
    return ", ".join(f"{value * 1e3:.1f} mohm" for value in values if value is not None)


def _remote_sense(bench: RunBench, plan: Plan) -> str:
    """V / I at the source's sense terminals against the meter: they differ by what lies outside the sense."""
    setup, settle_s = _sense_drive(plan)
    resistance = next((each for each in plan.steps if isinstance(each, ResistanceStep)), None)
    if resistance is None:
        return "not checked: the plan measures no resistance"
    bench.fixture.set_route(Route.LCR)
    bench.lcr.configure(
        LcrSetup((Quantity.DC_RESISTANCE,), 0.0, resistance.level_v, 4, resistance_range(plan, resistance))
    )
    (meter,) = bench.lcr.measure()
    with bench.drive(setup, route=Route.SOURCE_FORWARD) as source:
        bench.clock.sleep(settle_s)
        voltage, current = source.measure()
    if meter.value is None or voltage.value is None or not current.value:
        raise _fail("no reading: is a good unit in the nest?")
    by_source = voltage.value / current.value
    if not math.isclose(by_source, meter.value, rel_tol=SENSE_DIFFERENCE):
        raise _fail(
            f"V / I gives {by_source:.4g} ohm, the meter {meter.value:.4g} ohm. "
            "Connect the source's sense leads to the pads, or say remote_sense = false."
        )
    return f"V / I {by_source:.4g} ohm, meter {meter.value:.4g} ohm"


def _sense_drive(plan: Plan) -> tuple[SourceSetup, float]:
    """A drive that hardly heats, and how long it settles: of the field's, else of the first heating level."""
    for step in plan.steps:
        if isinstance(step, FieldStep):
            return _small_drive(step, 0.5), step.settle_s
        if isinstance(step, HeatingStep):
            return source_setup(step, SENSE_PART * step.drives[0]), SENSE_SETTLE_S
    raise ValueError("no method of the plan drives the coil")


def _small_drive(step: FieldStep, part: float) -> SourceSetup:
    return SourceSetup(
        voltage_v=step.voltage_limit_v,
        current_a=step.drive_a * part,
        over_voltage_v=step.voltage_limit_v * 1.2,
        over_current_a=step.drive_a * 1.2,
    )
