"""A reading's error from the lines of a data sheet."""

import math

import pytest

from station.core.accuracy import half_width
from station.core.equipment import Accuracy
from station.core.results import Shape
from station.errors import BenchError

OHM = "dc_resistance_ohm"
LOW = Accuracy(
    OHM, 0.0, 10.0, reading_fraction=5e-4, range_fraction=1e-4, full_scale=10.0, counts=2, resolution=1e-4
)
HIGH = Accuracy(OHM, 1.0, 100.0, reading_fraction=5e-4, range_fraction=1e-4, full_scale=100.0, shape="normal")


def test_half_width_adds_reading_range_and_counts() -> None:
    """0.05 % of 8 ohm + 0.01 % of 10 ohm + 2 x 0.1 mohm = 5.2 mohm; the sign of the reading doesn't count."""
    width, shape = half_width([LOW], OHM, -8.0)

    assert math.isclose(5.2e-3, width)
    assert shape is Shape.RECTANGULAR


def test_half_width_takes_the_widest_line_that_covers() -> None:
    """If the range in use is not known, the worst one counts."""
    width, shape = half_width([LOW, HIGH], OHM, 8.0)

    assert math.isclose(14e-3, width)
    assert shape is Shape.NORMAL


def test_half_width_of_the_range_in_use() -> None:
    """The full scale tells which line holds."""
    width, _ = half_width([LOW, HIGH], OHM, 8.0, full_scale=10.0)

    assert math.isclose(5.2e-3, width)


@pytest.mark.parametrize(
    ("temperature", "extra_k"), [(18.0, 0.0), (23.0, 0.0), (28.0, 0.0), (30.0, 2.0), (15.0, 3.0)]
)
def test_half_width_grows_outside_the_reference_temperatures(temperature: float, extra_k: float) -> None:
    """Each kelvin outside 18 to 28 degC adds its part of the reading."""
    line = Accuracy(OHM, 0.0, 10.0, reading_fraction=5e-4, temperature_per_k=1e-4)
    width, _ = half_width([line], OHM, 8.0, temperature_degc=temperature)

    assert math.isclose(8.0 * (5e-4 + 1e-4 * extra_k), width)


@pytest.mark.parametrize(
    ("quantity", "value", "frequency"),
    [
        (OHM, 10.01, None),
        ("voltage_v", 1.0, None),
        ("series_inductance_h", 1e-5, None),
        ("series_inductance_h", 1e-5, 1e3),
        (OHM, math.nan, None),
    ],
)
def test_half_width_never_guesses(quantity: str, value: float, frequency: float | None) -> None:
    """A reading that no line covers is an error that names it."""
    banded = Accuracy("series_inductance_h", 0.0, 1.0, 1e-3, frequency_lower_hz=2e4, frequency_upper_hz=3e5)
    with pytest.raises(BenchError, match=quantity):
        half_width([LOW, banded], quantity, value, frequency_hz=frequency)


def test_half_width_of_a_temperature_below_zero() -> None:
    """Of a temperature the value itself must lie between the bounds, not its size."""
    line = Accuracy("temperature_coil_degc", -20.0, 150.0, counts=1.0, resolution=0.2)

    assert (0.2, Shape.RECTANGULAR) == half_width([line], "temperature_coil_degc", -15.0)
    with pytest.raises(BenchError, match="temperature_coil"):
        half_width([line], "temperature_coil_degc", -25.0)


@pytest.mark.parametrize("frequency", [2e4, 1e5, 3e5])
def test_half_width_within_a_frequency_band(frequency: float) -> None:
    """The band's ends belong to it."""
    banded = Accuracy("series_inductance_h", 0.0, 1.0, 1e-3, frequency_lower_hz=2e4, frequency_upper_hz=3e5)

    assert (1e-8, Shape.RECTANGULAR) == half_width(
        [banded], "series_inductance_h", 1e-5, frequency_hz=frequency
    )
