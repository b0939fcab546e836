"""Coupons of two widths: etch loss and sheet resistance told apart, with intervals that hold what they promise."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.lot import Lot
from station.coil.constants import COPPER_RESISTIVITY_OHM_M
from station.coil.coupons import CouponTrack, SheetAndEtch, etch_and_sheet

NARROW_M, WIDE_M, LENGTH_M = 0.1e-3, 0.4e-3, 50e-3
ALPHA = 1 / 254.5


def _track(width_m: float, loss_m: float, thickness_m: float, *, temperature_degc: float = 20.0) -> CouponTrack:
    """R = rho L/(t (w - d)) at a temperature, read without error."""
    at_20 = COPPER_RESISTIVITY_OHM_M * LENGTH_M / (thickness_m * (width_m - loss_m))
    at_temperature = at_20 * (1 + ALPHA * (temperature_degc - 20))
    return CouponTrack(width_m, LENGTH_M, at_temperature, temperature_degc, 1e-3 * at_temperature)


@given(st.floats(-20e-6, 40e-6), st.floats(8e-6, 50e-6), st.floats(15.0, 35.0))
def test_two_widths_give_back_what_they_were_made_of(
    loss_m: float, thickness_m: float, temperature_degc: float
) -> None:
    """The closed form inverts R = rho L/(t (w - d)), at any temperature."""
    widths = (NARROW_M, WIDE_M)
    found = etch_and_sheet([_track(w, loss_m, thickness_m, temperature_degc=temperature_degc) for w in widths])

    assert loss_m == pytest.approx(found.etch_loss_m, abs=1e-12)
    assert thickness_m == pytest.approx(found.thickness_m(COPPER_RESISTIVITY_OHM_M), rel=1e-9)


def test_uncertainty_is_that_of_the_closed_form() -> None:
    """By the derivatives written out: y = L/R, g = (y1 - y2)/(w1 - w2), d = w1 - y1/g (JCGM 100, 5.1.2)."""
    tracks = [_track(NARROW_M, 8e-6, 18e-6), _track(WIDE_M, 8e-6, 18e-6)]
    found = etch_and_sheet(tracks)
    y = np.array([LENGTH_M / each.resistance_ohm for each in tracks])
    gap = NARROW_M - WIDE_M
    slope = (y[0] - y[1]) / gap
    # dg/dy = (1, -1)/gap; dd/dy1 = -1/g + y1/g^2/gap, dd/dy2 = -y1/g^2/gap
    loss = np.hypot((-1 / slope + y[0] / slope**2 / gap) * y[0], y[0] / slope**2 / gap * y[1]) * 1e-3
    sheet = np.hypot(y[0], y[1]) * 1e-3 / abs(gap) / slope

    assert loss == pytest.approx(found.etch_loss_uncertainty_m, rel=1e-9)
    assert sheet == pytest.approx(found.relative_sheet_uncertainty, rel=1e-9)


def test_a_meter_that_reads_high_leaves_the_etch_loss_alone() -> None:
    """8 % on every resistance is 8 % on the sheet resistance and nothing on the etch loss."""
    tracks = [_track(NARROW_M, 8e-6, 18e-6), _track(WIDE_M, 8e-6, 18e-6)]
    high = [
        CouponTrack(each.width_m, each.length_m, 1.08 * each.resistance_ohm, 20.0, each.standard_uncertainty_ohm)
        for each in tracks
    ]
    true, seen = etch_and_sheet(tracks), etch_and_sheet(high)

    assert true.etch_loss_m == pytest.approx(seen.etch_loss_m, abs=1e-12)
    assert 1.08 * true.sheet_ohm == pytest.approx(seen.sheet_ohm, rel=1e-9)


def test_trace_resistance_is_the_textbook_one() -> None:
    """100 mm x 0.5 mm x 35 um at 1.72e-8 ohm m: 98.3 mohm, from sheet resistance and squares.

    Worked example in a public PCB design lesson.
    """
    tracks = [CouponTrack(w, 0.1, 1.72e-8 * 0.1 / (35e-6 * w), 20.0, 1e-6) for w in (0.2e-3, 0.8e-3)]

    assert 98.3e-3 == pytest.approx(etch_and_sheet(tracks).sheet_ohm * 0.1 / 0.5e-3, abs=5e-5)


def test_scatter_beyond_the_readings_widens_the_intervals() -> None:
    """Four tracks that don't lie on a line within their uncertainties: chi squared says so, the covariance grows."""
    tracks = [_track(w, 8e-6, 18e-6) for w in (0.1e-3, 0.2e-3, 0.3e-3, 0.4e-3)]
    odd = CouponTrack(0.2e-3, LENGTH_M, tracks[1].resistance_ohm * 1.03, 20.0, tracks[1].standard_uncertainty_ohm)
    smooth, rough = etch_and_sheet(tracks), etch_and_sheet([tracks[0], odd, *tracks[2:]])

    assert 2 == rough.freedom
    assert rough.scatter > 5
    assert rough.etch_loss_uncertainty_m > 5 * smooth.etch_loss_uncertainty_m


@pytest.mark.parametrize(
    ("tracks", "words"),
    [
        ([_track(NARROW_M, 0.0, 18e-6)] * 2, "two widths"),
        ([_track(NARROW_M, 0.0, 18e-6), _track(WIDE_M, 0.39e-3, 18e-6)], "must rise"),
        ([CouponTrack(0.0, 1.0, 1.0, 20.0, 1e-3), _track(WIDE_M, 0.0, 18e-6)], "above 0"),
        ([CouponTrack(NARROW_M, LENGTH_M, 1.0, 20.0, 0.0), _track(WIDE_M, 0.0, 18e-6)], "above 0"),
    ],
)
def test_coupons_that_say_nothing_are_refused(tracks: list[CouponTrack], words: str) -> None:
    """One width, interchanged widths, no value."""
    with pytest.raises(ValueError, match=words):
        etch_and_sheet(tracks)


def _seen(lot: Lot, serial: str, generator: np.random.Generator, warm_k: float) -> tuple[float, float, SheetAndEtch]:
    """Coupons beside a unit of a simulated lot, read at 0.05 %, by a thermometer that is `warm_k` off."""
    change_m = lot.made(serial).change_m
    loss_m, thickness_m = -change_m[0], lot.design.copper_m + change_m[2]
    tracks = []
    for width_m in (NARROW_M, WIDE_M):
        true = COPPER_RESISTIVITY_OHM_M * LENGTH_M / (thickness_m * (width_m - loss_m)) * (1 + ALPHA * (3 + warm_k))
        read = true * (1 + 5e-4 * generator.standard_normal())
        tracks.append(CouponTrack(width_m, LENGTH_M, read, 23.0, 5e-4 * true))
    return loss_m, thickness_m, etch_and_sheet(tracks, temperature_uncertainty_k=0.3)


@pytest.mark.slow
def test_95_percent_intervals_hold_95_percent_of_simulated_etch_lots() -> None:
    """2,000 lots of known etch and plating: 93 to 97 % (over four standard errors) of d and of t within k = 1.96."""
    generator = np.random.default_rng(7)
    loss_held = thickness_held = 0
    lots = 2_000
    for seed in range(lots):
        lot = Lot(seed, panels=1)
        loss_m, thickness_m, found = _seen(lot, "L2641-01-A01", generator, 0.3 * generator.standard_normal())
        loss_held += abs(found.etch_loss_m - loss_m) <= 1.96 * found.etch_loss_uncertainty_m
        off = np.log(found.thickness_m(COPPER_RESISTIVITY_OHM_M) / thickness_m)
        thickness_held += abs(off) <= 1.96 * found.relative_sheet_uncertainty

    assert 0.93 < loss_held / lots < 0.97
    assert 0.93 < thickness_held / lots < 0.97
