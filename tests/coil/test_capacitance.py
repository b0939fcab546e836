"""Layer capacitance and self-resonance: an estimate, held to what it promises."""

from dataclasses import replace

import numpy as np
import pytest

from station.coil.capacitance import apparent_series, self_resonance
from tests.coil.references import two_by_35


def test_resonance_is_where_an_independent_estimate_puts_it() -> None:
    """8 to 9 MHz by another estimate; ours promises no better than 30 %."""
    resonance = self_resonance(two_by_35())

    assert abs(resonance.frequency_hz / 8.5e6 - 1) < resonance.doubt


def test_thinner_film_means_more_capacitance() -> None:
    """And a lower resonance."""
    thick, thin = self_resonance(two_by_35()), self_resonance(replace(two_by_35(), layer_gaps_m=(41e-6,)))

    assert thick.capacitance_f < thin.capacitance_f
    assert thin.frequency_hz < thick.frequency_hz


def test_one_layer_resonates_far_above_two() -> None:
    """There is no layer beneath."""
    single = replace(two_by_35(), layers=1, layer_gaps_m=())

    assert 5 * self_resonance(two_by_35()).frequency_hz < self_resonance(single).frequency_hz


def test_apparent_inductance_rises_by_the_square_of_the_frequency() -> None:
    """Textbook: L/(1 - (f/f0)^2) for a coil without loss, R by the square of that."""
    inductance, capacitance = 35e-6, 10e-12
    resonance = 1 / (2 * np.pi * np.sqrt(inductance * capacitance))
    factor = 1 / (1 - 0.1**2)

    resistance, apparent = apparent_series(1e-3, inductance, capacitance, 0.1 * resonance)

    assert inductance * factor == pytest.approx(float(apparent), rel=1e-6)
    assert 1e-3 * factor**2 == pytest.approx(float(resistance), rel=1e-6)


def test_apparent_inductance_is_negative_above_resonance() -> None:
    """The meter sees a capacitor."""
    _, apparent = apparent_series(10.0, 35e-6, 10e-12, 20e6)

    assert float(apparent) < 0
