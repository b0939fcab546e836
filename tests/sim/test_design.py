"""The nominal values of a design, against published ones. The coil model's own tests are in tests/coil."""

from dataclasses import replace

import pytest

from sim.design import IS_20, design_values
from station.coil import CoilGeometry
from station.coil.field import axis_flux_density_t_per_a

TWO_BY_35 = CoilGeometry(
    layers=2,
    turns_per_layer=35,
    inner_diameter_m=1.9e-3,
    track_width_m=0.1e-3,
    track_gap_m=0.1e-3,
    copper_m=18e-6,
    layer_gaps_m=(82e-6,),
)


def test_design_values_agree_with_an_independent_field_solver() -> None:
    """2 x 35 turns: 1.98 m, 18.96 ohm, 34.839 uH (voxel solver at 25 um)."""
    values = design_values(TWO_BY_35)

    assert 1.979 == pytest.approx(values.length_m, rel=1e-3)
    assert 18.96 == pytest.approx(values.resistance_20_ohm, rel=1e-3)
    assert 34.839e-6 == pytest.approx(values.inductance_h, rel=1e-3)


@pytest.mark.parametrize("height_m", [1e-3, 2e-3, 4e-3, 8e-3])
def test_rings_give_the_field_of_the_spiral_within_their_stated_error(height_m: float) -> None:
    """The simulated field is a sum of rings, the station's the spiral's closed form: 1e-3 apart at the most."""
    spiral = float(axis_flux_density_t_per_a(IS_20, height_m))

    assert spiral == pytest.approx(design_values(IS_20).field_per_ampere(height_m, 0.0), rel=1e-3)


def test_skin_corner_rises_with_resistance() -> None:
    """Thinner copper resists more and has less eddy loss: its corner lies higher."""
    thin = replace(IS_20, copper_m=9e-6)

    assert design_values(thin).skin_corner_hz > design_values(IS_20).skin_corner_hz
