"""The nominal values of a design, against published ones."""

from math import log, pi

import pytest

from sim.design import IS_20, SpiralDesign, design_values, mutual_h


@pytest.mark.parametrize(
    ("a_m", "b_m", "distance_m", "expected_h"),
    [
        # Rosa and Grover, Bull. Bureau of Standards 8(1), 1912: 248.7875 cm (from memory; recomputed).
        (0.25, 0.20, 0.10, 2.4878736e-07),
        # Maxwell, Treatise, art. 701, DLMF 19.34; computed with scipy and by Neumann quadrature.
        (0.25, 0.25, 0.20, 1.6708578364718203e-07),
        (0.25, 0.25, 0.10, 3.37684718487094e-07),
        (0.004, 0.003, 0.000135, 5.920373388282122e-09),
    ],
)
def test_mutual_inductance_of_circles_is_the_published_one(
    a_m: float, b_m: float, distance_m: float, expected_h: float
) -> None:
    """Coaxial circles by Maxwell's formula."""

    assert expected_h == pytest.approx(mutual_h(a_m, b_m, distance_m), rel=3e-8)


def test_design_values_agree_with_an_independent_field_solver() -> None:
    """2 x 35 turns: 1.98 m, 18.96 ohm, 34.839 uH (voxel solver at 25 um).

    One filament a turn at the middle of its track is good for 0.1 % of L.
    """
    design = SpiralDesign("2 x 35", 2, 35, 1.9e-3, 0.1e-3, 0.1e-3, 18e-6, 82e-6)
    values = design_values(design)

    assert 1.979 == pytest.approx(values.length_m, rel=1e-3)
    assert 18.96 == pytest.approx(values.resistance_20_ohm, rel=1e-3)
    assert 34.839e-6 == pytest.approx(values.inductance_h, rel=1e-3)


def test_inductance_agrees_with_the_current_sheet_form() -> None:
    """Mohan, Hershenson, Boyd, Lee, IEEE J. Solid-State Circuits 34 (1999), good to some 3 %."""
    outer_m = IS_20.inner_diameter_m + 2 * 20 * 0.24e-3
    mean_m = 0.5 * (outer_m + IS_20.inner_diameter_m)
    fill = (outer_m - IS_20.inner_diameter_m) / (outer_m + IS_20.inner_diameter_m)
    expected_h = 4e-7 * pi * 40**2 * mean_m / 2 * (log(2.46 / fill) + 0.2 * fill**2)

    assert expected_h == pytest.approx(design_values(IS_20).inductance_h, rel=0.03)
