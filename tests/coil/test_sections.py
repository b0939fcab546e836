"""Mean distances of rectangular sections against brute averages and known values."""

import numpy as np
import pytest

from station.coil import sections


def _points(width: float, thickness: float, count: int) -> np.ndarray:
    generator = np.random.default_rng(5)
    return generator.uniform(-0.5, 0.5, (count, 2)) * np.array([width, thickness])


@pytest.mark.parametrize(("width", "thickness"), [(0.1e-3, 18e-6), (0.4e-3, 35e-6), (1.0, 1.0)])
def test_self_distance_is_about_0_2235_of_width_plus_thickness(width: float, thickness: float) -> None:
    """The rule of thumb of Grover's tables (0.2235 for every ratio, within half a per cent)."""
    distance = np.exp(sections.log_self_distance(width, thickness))

    assert 0.2235 * (width + thickness) == pytest.approx(float(distance), rel=5e-3)


def test_self_distance_of_a_square_is_the_published_one() -> None:
    """0.44705 of the side (Maxwell, Treatise, art. 692; from memory)."""
    assert 0.44705 == pytest.approx(float(np.exp(sections.log_self_distance(1.0, 1.0))), rel=1e-4)


def test_mean_self_distance_of_a_unit_square_is_the_published_one() -> None:
    """0.52140543: the mean distance of two random points in the unit square (Ghosh 1951; from memory)."""
    assert 0.52140543 == pytest.approx(float(sections.mean_self_distance_m(1.0, 1.0)), rel=1e-7)


def test_mean_self_distance_of_a_tape_is_a_third_of_its_width() -> None:
    """The thin limit."""
    assert 1e-4 / 3 == pytest.approx(float(sections.mean_self_distance_m(1e-4, 1e-7)), rel=1e-3)


@pytest.mark.parametrize(("across", "up"), [(0.2e-3, 0.0), (0.0, 0.1e-3), (0.1e-3, 0.1e-3), (1.0e-3, 0.1e-3)])
def test_mutual_distance_agrees_with_the_average_over_points(across: float, up: float) -> None:
    """The mean of ln(distance) over 400,000 pairs of points, to the average's own scatter."""
    one, other = _points(0.1e-3, 18e-6, 400_000), _points(0.1e-3, 18e-6, 400_000)[::-1]
    drawn = np.log(np.hypot(one[:, 0] - other[:, 0] + across, one[:, 1] - other[:, 1] + up))

    got = sections.log_mutual_distance(across, up, 0.1e-3, 18e-6)

    assert float(drawn.mean()) == pytest.approx(float(got), abs=4 * float(drawn.std()) / np.sqrt(len(drawn)) + 2e-4)


def test_mutual_distance_with_drift_is_the_mean_over_the_slide() -> None:
    """Sliding past one another: the average of the fixed case over the slide."""
    slide = np.linspace(-0.2e-3, 0.2e-3, 2001)
    fixed = sections.log_mutual_distance(0.3e-3 + slide, 0.1e-3, 0.1e-3, 18e-6)

    got = sections.log_mutual_distance(0.3e-3, 0.1e-3, 0.1e-3, 18e-6, drift_m=0.2e-3)

    assert float(np.trapezoid(fixed, slide)) / 0.4e-3 == pytest.approx(float(got), abs=1e-6)
