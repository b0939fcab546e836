"""Bends: the corner rule of the trade, the exact limit, and solver values of whole square spirals."""

import numpy as np
import pytest

from station.coil.corners import bend_angles_rad, corner_inductance_h, corner_squares


def test_right_angle_counts_0_559_squares() -> None:
    """Two half squares of centre line and the correction: 0.559, the trade's corner rule; 1 - 2 ln 2/pi exactly."""
    assert 1 - 2 * np.log(2) / np.pi == pytest.approx(1 + float(corner_squares(np.pi / 2)), rel=1e-12)


def test_no_bend_counts_nothing() -> None:
    """A straight track has no correction, and a slight bend next to none."""
    np.testing.assert_allclose(corner_squares([0.0, 1e-3]), [0.0, 0.0], atol=1e-6)


def test_sharper_bends_take_away_more() -> None:
    """Monotone in the angle, for resistance and for inductance."""
    angles = np.radians([10, 45, 60, 90, 120])

    assert np.all(np.diff(corner_squares(angles)) < 0)
    assert np.all(np.diff(corner_inductance_h(angles, 4e-4, 35e-6)) < 0)


def test_bend_angles_skip_segments_that_are_not_joined() -> None:
    """A via leads on elsewhere: no bend there."""
    start = np.array([[0, 0, 0], [1, 0, 0], [1, 1, -1]], dtype=float)
    end = np.array([[1, 0, 0], [1, 1, 0], [0, 1, -1]], dtype=float)

    np.testing.assert_allclose(bend_angles_rad(start, end), [np.pi / 2, 0.0])
