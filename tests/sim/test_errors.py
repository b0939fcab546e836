"""Errors of a bench, drawn."""

from dataclasses import fields
from statistics import fmean, pstdev

import pytest

from sim.errors import GENERIC_LIMITS, LCR_RANGES_OHM, BenchErrors, ErrorLimits, draw_errors


def test_same_seed_draws_the_same_bench() -> None:
    """A bench is a function of its seed."""

    assert draw_errors(3, GENERIC_LIMITS) == draw_errors(3, GENERIC_LIMITS)
    assert draw_errors(3, GENERIC_LIMITS) != draw_errors(4, GENERIC_LIMITS)


def test_draws_are_rectangular_within_their_half_width() -> None:
    """Over 2,000 benches: none outside, mean 0, standard deviation a/sqrt(3), within four standard errors."""
    draws = [draw_errors(seed, ErrorLimits(field_gain=0.01)).field_gain for seed in range(2_000)]

    assert max(map(abs, draws)) <= 0.01
    assert abs(fmean(draws)) < 4 * 0.01 / 3**0.5 / 2_000**0.5
    assert 0.01 / 3**0.5 == pytest.approx(pstdev(draws), rel=0.06)


def test_lcr_ranges_have_errors_of_their_own() -> None:
    """Each range is another draw; an offset scales with its range."""
    errors = draw_errors(1, ErrorLimits(lcr_gain=1e-3, lcr_dc_offset_of_range=1e-5))
    by_range = [errors.lcr_error(range_ohm) for range_ohm in LCR_RANGES_OHM]

    assert len(LCR_RANGES_OHM) == len({error.gain for error in by_range})
    assert all(abs(e.dc_offset_ohm) <= 1e-5 * r for e, r in zip(by_range, LCR_RANGES_OHM))


def test_every_stated_limit_is_drawn() -> None:
    """No half-width is forgotten: each of them moves the bench that is drawn."""
    for limit in fields(ErrorLimits):
        drawn = draw_errors(1, ErrorLimits(**{limit.name: 0.5}))

        assert drawn != draw_errors(1, ErrorLimits()), limit.name


def test_nothing_stated_is_a_perfect_bench() -> None:
    """Half-widths of zero draw zeros."""
    drawn = draw_errors(1, ErrorLimits())

    assert BenchErrors().field_gain == drawn.field_gain
    assert 0.0 == drawn.lcr_error(100.0).gain
