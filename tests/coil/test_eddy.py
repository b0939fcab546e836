"""Skin and proximity effect against split tracks, a solver and tables."""

from dataclasses import replace

import numpy as np
import pytest

from station.coil import CoilGeometry
from station.coil.circuit import network_of, solve_impedance
from station.coil.eddy import limit_frequency_hz, skin_depth_m
from tests.coil.references import impedance_of_split_rings, ten_turns, two_by_35

IACS_OHM_M = 1e-6 / 58


@pytest.mark.parametrize(
    ("frequency", "depth_mm", "half_digit"), [(60, 8.5, 0.05), (1e3, 2.1, 0.05), (2e5, 0.15, 0.005)]
)
def test_skin_depth_agrees_with_the_public_table(frequency: float, depth_mm: float, half_digit: float) -> None:
    """Public table citing Matula (1979), copper at 300 K."""
    assert depth_mm == pytest.approx(skin_depth_m(frequency, 1.7e-8) * 1e3, abs=half_digit)


def test_skin_depth_at_100_khz() -> None:
    """Jackson, eq. 5.165, IACS copper: 0.20898 mm."""
    assert 0.2089806784938892 == pytest.approx(skin_depth_m(1e5, IACS_OHM_M) * 1e3, abs=5e-7)


def test_own_field_constant_is_the_variance_that_it_says() -> None:
    """Of (1-u) ln(1-u) + (1+u) ln(1+u): an isolated straight tape has nothing else."""
    u = (np.arange(2_000_000) + 0.5) / 1_000_000 - 1
    profile = (1 - u) * np.log(1 - u) + (1 + u) * np.log(1 + u)

    assert 0.1400875 == pytest.approx(float(profile.var()), abs=1e-6)


@pytest.mark.parametrize(
    "coil",
    [
        replace(two_by_35(), turns_per_layer=10),
        ten_turns(),
        replace(two_by_35(), turns_per_layer=6, track_width_m=3e-4),
    ],
    ids=["2 x 10 narrow", "10 coarse", "2 x 6 wide"],
)
@pytest.mark.parametrize("share", [0.1, 1.0])
def test_rise_of_resistance_agrees_with_split_tracks(coil: CoilGeometry, share: float) -> None:
    """Every track as 8 parallel rings with currents of their own: within 15 % of the rise up to the limit."""
    frequency = share * limit_frequency_hz(coil)
    network = network_of(coil)
    split = impedance_of_split_rings(coil, frequency, 8).real / impedance_of_split_rings(coil, 1.0, 8).real - 1

    rise = float(solve_impedance(network, frequency).resistance_ohm[0] / network.resistance_ohm.sum()) - 1

    assert split == pytest.approx(rise, rel=0.15)


def test_square_spiral_agrees_with_the_independent_solver() -> None:
    """pypeec 5.8.0, 10 mm square spiral, 5 turns: R rises by 0.183 % at 100 kHz; ours is drawn half a pitch wider."""
    coil = CoilGeometry(
        shape="square",
        layers=1,
        turns_per_layer=5,
        inner_diameter_m=3.8e-3,
        track_width_m=0.4e-3,
        track_gap_m=0.2e-3,
        copper_m=35e-6,
    )
    network = network_of(coil)

    rise = float(solve_impedance(network, 1e5).resistance_ohm[0] / network.resistance_ohm.sum()) - 1

    assert 0.00183 == pytest.approx(rise, rel=0.1)


def test_wide_tracks_agree_with_split_tracks_closely() -> None:
    """Where the uniform part of the field rules, the rise is right within 3 %."""
    coil = replace(two_by_35(), turns_per_layer=6, track_width_m=3e-4)
    frequency = 0.1 * limit_frequency_hz(coil)
    network = network_of(coil)
    split = impedance_of_split_rings(coil, frequency, 8).real / impedance_of_split_rings(coil, 1.0, 8).real - 1

    rise = float(solve_impedance(network, frequency).resistance_ohm[0] / network.resistance_ohm.sum()) - 1

    assert split == pytest.approx(rise, rel=0.03)
