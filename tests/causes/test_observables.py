"""From results to observables: a per cent is a per cent, and a seat is not a field."""

import numpy as np
import pytest

from sim.lot import truth_near
from station.causes.observables import HEIGHT, R20, RS_R20, B, Findings, L, heights_named, observables
from station.coil import predict
from tests.causes.makers import DRAWN, HEIGHTS_M, Bench, Trouble, measure

QUIET = Bench(field_gain=1.0, noise=0.0, phase_noise_rad=0.0, temperature_degc=20.0, temperature_sd_k=0.0,
              height_sd_m=0.0, field_noise_t_per_a=0.0)  # fmt: skip


def test_coil_as_drawn_reads_zero() -> None:
    """The drawing's own values are 0 in every observable; the bench's rings differ from the closed form by 1e-3."""
    seen = observables(measure([(truth_near("L2641-01-A01"), Trouble())], bench=QUIET), DRAWN)

    assert [0.0, 0.0, 0.0] == pytest.approx(seen[0, [R20, L, RS_R20]].tolist(), abs=1e-3)
    assert 0.0 == pytest.approx(seen[0, B], abs=2e-3)
    assert 0.0 == pytest.approx(seen[0, HEIGHT], abs=5e-6)


def test_higher_sensor_is_height_and_not_field() -> None:
    """A seat 0.1 mm off comes back as 0.1 mm, and the field as it was (cubic rest)."""
    seen = observables(measure([(truth_near("L2641-01-A01"), Trouble(higher_m=1e-4))], bench=QUIET), DRAWN)

    assert pytest.approx(1e-4, abs=5e-6) == seen[0, HEIGHT]
    assert 0.0 == pytest.approx(seen[0, B], abs=4e-3)


def test_gain_of_the_field_is_field_and_not_height() -> None:
    """A field 2 % low at all heights is 2 % low, and the seat as it was."""
    unit = truth_near("L2641-01-A01", field_scale=0.98)
    seen = observables(measure([(unit, Trouble())], bench=QUIET), DRAWN)

    assert pytest.approx(np.log(0.98), abs=2e-3) == seen[0, B]
    assert 0.0 == pytest.approx(seen[0, HEIGHT], abs=5e-6)


def test_narrow_copper_moves_r_alone() -> None:
    """R20 a tenth up: ln 1.1 in R20, nothing in L and in Rs against R20."""
    nominal = predict(DRAWN.coil)
    unit = truth_near("L2641-01-A01", resistance_20_ohm=1.1 * nominal.resistance_20_ohm)
    seen = observables(measure([(unit, Trouble())], bench=QUIET), DRAWN)

    assert [np.log(1.1), 0.0, 0.0] == pytest.approx(seen[0, [R20, L, RS_R20]].tolist(), abs=1e-3)


def test_what_was_not_measured_is_nan() -> None:
    """Values that are missing, zero or negative give no observable, and no warning."""
    values = {"R20": np.array([7.9, 0.0, np.nan]), "L": np.array([-1e-6, 1e-5, np.nan])}
    seen = observables(Findings(("a", "b", "c"), ("",) * 3, ("",) * 3, ("",) * 3, values), DRAWN)

    assert [[True, False], [False, True], [False, False]] == np.isfinite(seen[:, [R20, L]]).tolist()
    assert not np.isfinite(seen[:, [RS_R20, B, HEIGHT]]).any()


def test_heights_are_read_from_names() -> None:
    """B@1mm, B@8mm and B@0.5mm name heights in mm; others don't."""
    names = dict.fromkeys(["R20", "B@8mm", "B@0.5mm", "B@1mm", "height_offset"])

    assert (5e-4, 1e-3, 8e-3) == pytest.approx(heights_named(names))
    assert len(HEIGHTS_M) == 4
