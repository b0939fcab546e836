"""Mains hum: what an average over a fixed time leaves of it."""

from math import pi, sin

import pytest

from sim.bench import BenchOptions
from sim.errors import NoiseLevels
from sim.hum import Hum, averaged_hum
from sim.lot import truth_near
from tests.sim.talk import Talk


@pytest.mark.parametrize(("mains_hz", "end_s", "seconds"), [(50.2, 1.237, 0.04), (60.0, 0.5, 0.02), (49.9, 9.0, 0.32)])
def test_average_is_the_integral_over_the_window(mains_hz: float, end_s: float, seconds: float) -> None:
    """The closed form agrees with a sum over 20,000 instants (midpoint rule)."""
    steps = 20_000
    instants = (end_s - seconds * (index + 0.5) / steps for index in range(steps))
    summed = sum(sin(2.0 * pi * mains_hz * each) for each in instants) / steps

    assert summed == pytest.approx(averaged_hum(mains_hz, end_s, seconds), abs=1e-7)


def test_whole_cycles_leave_nothing() -> None:
    """Two cycles of exactly 50 Hz: the hum drops out."""

    assert 0.0 == pytest.approx(averaged_hum(50.0, 0.7321, 0.04), abs=1e-12)


def _shown(hum: Hum) -> tuple[str, list[float]]:
    """Return what fixture and meter show of an isothermal coil under hum."""
    talk = Talk(options=BenchOptions(ambient_degc=20.0, noise=NoiseLevels(hum=hum)), units=[truth_near("U1")])
    talk.load("U1")
    field = talk.fixture("FIELD 2")
    talk.fixture("ROUTE LCR")
    return field, talk.measure_lcr("RDC")


def test_hum_beats_with_what_the_instruments_average_over() -> None:
    """Of 50 Hz nothing is seen; 50.2 Hz moves field and DC resistance."""
    quiet, fitting, beating = (_shown(each) for each in (Hum(), Hum(50.0, 1e-3, 0.5), Hum(50.2, 1e-3, 0.5)))

    assert quiet == fitting
    assert quiet[0] != beating[0]
    assert quiet[1][0] == pytest.approx(beating[1][0], rel=0.5)
    assert quiet[1][0] != beating[1][0]
