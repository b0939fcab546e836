"""Drivers and simulated instruments, written apart from the same description of the wire, agree.

A slip in a dialect file, a unit or an order of fields shows here: one end alone would not see it.
"""

from cmath import phase
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import pi

import pytest

from drivers.build import Driver, build_driver
from drivers.clock import ManualClock
from drivers.contracts.scripted import ScriptedLink
from drivers.dialects import Dialect
from drivers.errors import InstrumentReported
from drivers.fixture import LineFixture
from drivers.instruments import LcrSetup, Route, SourceSetup
from drivers.lcr import ScpiLcrMeter
from drivers.readings import Quantity, Reading, ReadingStatus
from drivers.source import ScpiSource
from drivers.thermometer import SerialThermometer
from sim.bench import FIXTURE as FIXTURE_NAME
from sim.bench import LCR, THERMOMETER, BenchOptions, SimulatedBench
from sim.bench import SOURCE as SOURCE_NAME
from tests.drivers.benches import FIXTURE, LCR_FIRST, LCR_LAST, POLLED, SOURCE, STREAMING

SERIAL = "L2641-01-A01"
DRIVE = SourceSetup(voltage_v=5.0, current_a=0.1, over_voltage_v=8.0, over_current_a=0.5)


@dataclass(frozen=True)
class Bench:
    """A simulated bench with a unit in its nest, and our drivers."""

    simulated: SimulatedBench
    clock: ManualClock
    lcr: ScpiLcrMeter
    source: ScpiSource
    fixture: LineFixture
    thermometer: SerialThermometer


def make_bench(*, lcr_model: str = "LCR-A", thermometer_model: str = "TH-P", has_stage: bool = True) -> Bench:
    """Return a bench with those models; each driver has identified its instrument."""
    simulated = SimulatedBench(
        options=BenchOptions(lcr_model=lcr_model, thermometer_model=thermometer_model, has_stage=has_stage)
    )
    clock = ManualClock()
    dialects: Mapping[str, Dialect] = {
        LCR: LCR_LAST if lcr_model == "LCR-A" else LCR_FIRST,
        SOURCE_NAME: SOURCE,
        FIXTURE_NAME: FIXTURE,
        THERMOMETER: POLLED if thermometer_model == "TH-P" else STREAMING,
    }
    drivers: dict[str, Driver] = {}
    for name, dialect in dialects.items():
        instrument = simulated.instruments[name]
        instrument.connect(0.0)
        link = ScriptedLink(instrument, clock, terminator_out=dialect.wire.terminator_out, name=name)
        expected = simulated.identities[name]
        drivers[name] = build_driver(dialect.kind, link, clock, dialect, expected_identity=expected)
        drivers[name].identify()
    simulated.world.load(simulated.lot.truth(SERIAL))
    lcr, source, fixture, thermometer = drivers.values()
    assert isinstance(lcr, ScpiLcrMeter)
    assert isinstance(source, ScpiSource)
    assert isinstance(fixture, LineFixture)
    assert isinstance(thermometer, SerialThermometer)
    return Bench(simulated, clock, lcr, source, fixture, thermometer)


def values(readings: Sequence[Reading]) -> list[float | None]:
    """Return the values alone."""
    return [reading.value for reading in readings]


@pytest.mark.parametrize("model", ["LCR-A", "LCR-B"])
def test_meter_reads_inductance_of_the_coil(model: str) -> None:
    """Series pair at 100 kHz, against the world's impedance, to the resolution of six digits."""
    bench = make_bench(lcr_model=model)
    bench.fixture.set_route(Route.LCR)
    impedance = bench.simulated.world.coil_impedance_ohm(1e5)
    setup = LcrSetup(
        (Quantity.SERIES_INDUCTANCE, Quantity.SERIES_RESISTANCE), 1e5, averaging=4, range_ohm=100.0
    )
    bench.lcr.configure(setup)

    assert [
        pytest.approx(impedance.imag / (2e5 * pi), rel=1e-5),
        pytest.approx(impedance.real, rel=1e-5),
    ] == values(bench.lcr.measure())


@pytest.mark.parametrize("model", ["LCR-A", "LCR-B"])
def test_meter_reads_phase_and_impedance_of_the_coil(model: str) -> None:
    """The other pair, in the caller's order: rad and ohm."""
    bench = make_bench(lcr_model=model)
    bench.fixture.set_route(Route.LCR)
    impedance = bench.simulated.world.coil_impedance_ohm(1e4)
    bench.lcr.configure(LcrSetup((Quantity.IMPEDANCE, Quantity.PHASE), 1e4, range_ohm=10.0))

    assert [pytest.approx(abs(impedance), rel=1e-5), pytest.approx(phase(impedance), rel=1e-5)] == values(
        bench.lcr.measure()
    )


@pytest.mark.parametrize("model", ["LCR-A", "LCR-B"])
def test_meter_reads_resistance_then_overload_on_open_route(model: str) -> None:
    """DC resistance on the meter's route; on the open route an overload, in either make's convention."""
    bench = make_bench(lcr_model=model)
    bench.fixture.set_route(Route.LCR)
    bench.lcr.configure(LcrSetup((Quantity.DC_RESISTANCE,), 0.0, range_ohm=10.0))
    true_ohm = bench.simulated.world.coil_impedance_ohm(0.0).real

    assert [pytest.approx(true_ohm, rel=1e-5)] == values(bench.lcr.measure())

    bench.fixture.set_route(Route.OPEN)

    assert [ReadingStatus.OVERLOAD] == [reading.status for reading in bench.lcr.measure()]


def test_source_drives_and_fixture_sees_the_field() -> None:
    """0.1 A through the coil; the field is of opposite sign on the other route; off at the end."""
    bench = make_bench()
    bench.fixture.set_height(0.002)
    fields = []
    for route in (Route.SOURCE_FORWARD, Route.SOURCE_REVERSE):
        bench.source.configure(DRIVE)
        bench.fixture.set_route(route)
        bench.source.output_on()
        fields.append(bench.fixture.measure_field(mains_cycles=2).value)
        _, current = bench.source.measure()
        bench.source.output_off()

        assert pytest.approx(0.1, rel=1e-4) == current.value

    assert fields[0] is not None
    assert fields[0] > 0
    assert pytest.approx(-fields[0], rel=1e-3) == fields[1]
    assert not bench.simulated.world.drive.on
    assert [] == bench.simulated.world.mishaps


def test_dead_man_of_the_fixture_is_noticed() -> None:
    """After 3 s without a keep-alive the route is open, and the field is refused."""
    bench = make_bench()
    bench.source.configure(DRIVE)
    bench.fixture.set_route(Route.SOURCE_FORWARD)
    bench.source.output_on()
    bench.clock.sleep(3.0)
    with pytest.raises(InstrumentReported, match="no longer enabled"):
        bench.fixture.measure_field(mains_cycles=2)
    bench.source.output_off()

    assert not bench.simulated.world.drive.on


def test_contacts_and_state_are_the_worlds() -> None:
    """Each pad in ohm, the loaded nest, the retracted stage."""
    bench = make_bench()
    bench.fixture.set_route(Route.KELVIN_CHECK)
    contacts = [reading.value for reading in bench.fixture.check_contacts()]
    state = bench.fixture.state()

    assert [pytest.approx(each, abs=1e-6) for each in bench.simulated.world.contacts_ohm()] == contacts
    assert (Route.KELVIN_CHECK, True, pytest.approx(0.02)) == (state.route, state.loaded, state.height_m)


def test_fixture_without_stage_says_so() -> None:
    """What the operator has to do instead follows from it."""
    bench = make_bench(has_stage=False)
    bench.fixture.state()

    assert not bench.fixture.has_stage


@pytest.mark.parametrize("model", ["TH-P", "TH-S"])
def test_thermometer_reads_ambient_of_the_world(model: str) -> None:
    """An undriven coil is as warm as its surroundings."""
    bench = make_bench(thermometer_model=model)
    bench.simulated.world.set_ambient(31.25)

    assert [31.25, 31.25] == values(bench.thermometer.measure())
