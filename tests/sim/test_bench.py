"""A whole simulated bench."""

import pytest

from sim.bench import BenchOptions, SimulatedBench
from sim.errors import GENERIC_LIMITS, GENERIC_NOISE, draw_errors
from sim.lot import Lot, truth_near
from tests.sim.talk import Talk

SERIALS = ("L2641-01-A01", "L2641-01-A02")


def _transcript(seed: int) -> list[str]:
    options = BenchOptions(seed=seed, noise=GENERIC_NOISE, errors=draw_errors(seed, GENERIC_LIMITS))
    talk = Talk(options=options)
    talk.load(SERIALS[0])
    talk.fixture("ROUTE KELVIN")
    replies = [talk.fixture("CONTACT"), talk.fixture("ROUTE LCR"), str(talk.measure_lcr("LSRS"))]
    talk.drive(0.8)
    replies += [talk.ask("source-1", "MEAS:CURR?"), talk.fixture("FIELD 5"), talk.temperatures()]
    return replies


def test_same_seed_gives_the_same_bytes() -> None:
    """A run can be repeated to the last digit."""

    assert _transcript(5) == _transcript(5)
    assert _transcript(5) != _transcript(6)


@pytest.mark.parametrize(
    ("options", "models"),
    [
        (BenchOptions(), ["LCR-A", "SRC-1", "FIX-1", "TH-P", "HANDS"]),
        (
            BenchOptions(lcr_model="LCR-B", thermometer_model="TH-S"),
            ["LCR-B", "SRC-1", "FIX-1", "TH-S", "HANDS"],
        ),
    ],
)
def test_bench_has_the_models_asked_for(options: BenchOptions, models: list[str]) -> None:
    """Five instruments by their names in the bench file."""
    bench = SimulatedBench(options=options)

    assert ["lcr-1", "source-1", "fixture-1", "thermometer-1", "operator"] == list(bench.instruments)
    assert models == [identity.split(",")[1] for identity in bench.identities.values()]


def test_stated_units_come_before_the_lot() -> None:
    """A test's own truth is found first, the lot's else."""
    bench = SimulatedBench(lot=Lot(3), units=[truth_near(SERIALS[0], resistance_20_ohm=1.5)])

    assert 1.5 == bench.find_unit(SERIALS[0]).resistance_20_ohm
    assert Lot(3).truth(SERIALS[1]) == bench.find_unit(SERIALS[1])
