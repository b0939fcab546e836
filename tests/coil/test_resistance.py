"""Resistance against tables of copper, worked examples and common practice."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate

from station.coil import Conductor, resistance
from tests.coil.references import ten_turns, two_by_35


def test_copper_at_20_degc_is_the_iacs_figure() -> None:
    """IEC 60028: 1/58 ohm mm2/m; alpha20 0.00393 with k = 234.5 to the printed digits."""
    copper = Conductor()

    assert 1.724137931034483e-08 == pytest.approx(copper.resistivity_ohm_m, rel=1e-15)
    assert 0.00393 == pytest.approx(copper.alpha20_per_k, abs=5e-6)


@pytest.mark.parametrize(("temperature_degc", "alpha"), [(0.0, 0.00427), (25.0, 0.00385)])
def test_temperature_coefficient_at_other_temperatures(temperature_degc: float, alpha: float) -> None:
    """NBS Circular 31, table of temperature coefficients of copper, which starts from 0.00393 (k = 234.45)."""
    at = resistance.at_temperature(
        1.0, [temperature_degc, temperature_degc + 1.0], winding_constant_degc=1 / 0.00393 - 20
    )

    assert alpha == pytest.approx(float(at[1] / at[0] - 1), abs=5e-6)


def test_correction_to_20_degc_undoes_the_temperature() -> None:
    """There and back, for any k."""
    hot = resistance.at_temperature(7.8, 61.0, winding_constant_degc=235.0)

    assert 7.8 == pytest.approx(float(resistance.to_20_degc(hot, 61.0, winding_constant_degc=235.0)), rel=1e-14)


def test_temperature_below_the_zero_of_the_line_is_refused() -> None:
    """The straight line has no meaning there."""
    with pytest.raises(ValueError, match=r"must be above -234\.5 degC"):
        resistance.to_20_degc(1.0, -240.0)


def test_straight_track_is_the_worked_example() -> None:
    """Public board-design lesson: 100 mm x 0.5 mm x 35 um at 1.72e-8 ohm m, 98.3 mohm."""
    assert 0.0983 == pytest.approx(resistance.track_resistance_ohm(0.1, 0.5e-3, 35e-6, 1.72e-8), abs=5e-5)


@pytest.mark.parametrize(("awg", "ohm_per_1000ft"), [(10, 0.9989), (20, 10.15), (30, 103.2)])
def test_wire_table_is_reproduced(awg: int, ohm_per_1000ft: float) -> None:
    """NBS Handbook 100, Copper Wire Tables, table 5; a round wire has the area of a strip pi d/4 wide."""
    diameter = 0.005 * 0.0254 * 92 ** ((36 - awg) / 39)

    got = resistance.track_resistance_ohm(304.8, np.pi * diameter / 4, diameter, Conductor().resistivity_ohm_m)

    assert ohm_per_1000ft == pytest.approx(got, rel=6e-4)


def test_varying_width_counts_by_the_mean_of_its_reciprocal() -> None:
    """Half the track at 0.05 mm, half at 0.15 mm: a third more than a track of 0.1 mm throughout."""
    uneven = resistance.track_resistance_ohm(1.0, np.repeat([0.05e-3, 0.15e-3], 50), 18e-6, 1.7e-8)
    even = resistance.track_resistance_ohm(1.0, 0.1e-3, 18e-6, 1.7e-8)

    assert 4 / 3 == pytest.approx(uneven / even, rel=1e-12)


def test_width_of_zero_is_refused() -> None:
    """A break is an open, not a number."""
    with pytest.raises(ValueError, match="above 0 everywhere"):
        resistance.track_resistance_ohm(1.0, [1e-4, 0.0], 18e-6, 1.7e-8)
    with pytest.raises(ValueError, match="above 0 everywhere"):
        resistance.turn_resistances_ohm(ten_turns(), turn_widths_m=[1e-4] * 9 + [0.0])


def test_a_neck_in_one_turn_counts_there_alone() -> None:
    """Half the width: twice that turn's resistance, the others as drawn."""
    widths = np.full(10, 0.3e-3)
    widths[4] = 0.15e-3

    ratio = resistance.turn_resistances_ohm(ten_turns(), turn_widths_m=widths) / resistance.turn_resistances_ohm(
        ten_turns()
    )

    np.testing.assert_allclose(ratio, [1, 1, 1, 1, 2, 1, 1, 1, 1, 1])


@pytest.mark.parametrize(("width_m", "ohm"), [(0.145e-3, 12.0), (0.1e-3, 17.0), (0.05e-3, 34.0)])
def test_common_track_reads_what_practice_says(width_m: float, ohm: float) -> None:
    """Common practice, no source: 1.8 m of 18 um copper, 12 to 34 ohm from 0.145 to 0.05 mm, 17 ohm at 0.1 mm."""
    got = resistance.track_resistance_ohm(1.8, width_m, 18e-6, Conductor().resistivity_ohm_m)

    assert ohm == pytest.approx(got, rel=0.03)


def test_two_by_35_turns_has_the_length_and_resistance_computed_apart() -> None:
    """2 x 35 turns, mean radii 1.1 .. 7.9 mm: 1.98 m, 18.96 ohm."""
    coil = two_by_35()

    assert 1.98 == pytest.approx(resistance.track_length_m(coil), abs=0.005)
    assert 18.96 == pytest.approx(resistance.resistance_20_ohm(coil), abs=0.005)


def test_ten_turns_agrees_with_the_independent_solver() -> None:
    """pypeec 5.8.0 extrapolated: 0.465 ohm at 1.7241e-8 ohm m, good to 1 %."""
    coil = replace(ten_turns(), conductor=Conductor(resistivity_ohm_m=1.7241e-8))

    assert 0.465 == pytest.approx(resistance.resistance_20_ohm(coil), rel=0.01)


def test_spiral_length_agrees_with_quadrature() -> None:
    """Arc length of r = 2 mm + 0.5 mm a turn over 3.3 turns, by scipy."""
    per_radian = 0.5e-3 / (2 * np.pi)
    arc = integrate.quad(lambda x: np.hypot(2e-3 + per_radian * x, per_radian), 0, 3.3 * 2 * np.pi, epsrel=1e-13)[0]

    assert arc == pytest.approx(float(resistance.spiral_length_m(2e-3, 0.5e-3, 3.3)), rel=1e-12)


def test_etch_factor_narrows_the_section() -> None:
    """Factor 2 on 18 um: 9 um undercut a side at the top, so 9 um less mean width."""
    coil = two_by_35()
    etched = replace(coil, etch_factor=2.0)

    assert 100 / 91 == pytest.approx(resistance.resistance_20_ohm(etched) / resistance.resistance_20_ohm(coil))


def test_plating_adds_to_the_foil() -> None:
    """Finished thickness is foil plus plating."""
    coil = two_by_35()

    assert 18 / 30 == pytest.approx(
        resistance.resistance_20_ohm(replace(coil, plating_m=12e-6)) / resistance.resistance_20_ohm(coil)
    )


def test_leads_and_vias_add_in_series() -> None:
    """Two layers have one via."""
    coil = two_by_35()
    wired = replace(coil, lead_resistance_ohm=0.2, via_resistance_ohm=0.003)

    assert 0.203 == pytest.approx(resistance.resistance_20_ohm(wired) - resistance.resistance_20_ohm(coil), abs=1e-12)
