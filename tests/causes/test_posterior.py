"""Bayes' rule over cases, against sums done by hand and scipy's normal density."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from station.causes.kinds import ABOUT, CAUSES, Cause
from station.causes.posterior import case_log_likelihood, posterior
from station.causes.signatures import Signatures, signatures_of
from tests.causes.makers import DRAWN

NOTHING, SHORTED = CAUSES.index(Cause.NOTHING), CAUSES.index(Cause.SHORTED_TURNS)


def _two(*, extra: float = 0.0, slope: float = 0.0) -> Signatures:
    """Nothing (prior 0.9), and a short (0.1) that takes 3 off the second of two observables."""
    return Signatures(
        np.array([NOTHING, SHORTED]),
        np.log([0.9, 0.1]),
        np.array([[0.0, 0.0], [0.0, -3.0]]),
        np.array([[0.0, 0.0], [0.0, extra]]),
        np.array([[0.0, 0.0], [0.0, slope]]),
        (None, None),
    )


def _shorted(residual: list[float], *, table: Signatures | None = None, copper: float = 0.0) -> float:
    nothing = np.zeros((1, len(CAUSES)))
    found, _ = posterior(np.array([residual]), np.array([1.0, 1.0]), table or _two(), nothing, np.array([copper]))
    return float(found[0, SHORTED])


def test_posterior_is_prior_times_density() -> None:
    """0.1 N(-2; -3, 1) against 0.9 N(-2; 0, 1)."""
    short, nothing = 0.1 * norm.pdf(-2, -3, 1), 0.9 * norm.pdf(-2, 0, 1)

    assert pytest.approx(short / (short + nothing)) == _shorted([0.5, -2.0])


def test_case_with_room_of_its_own_is_wider() -> None:
    """Its standard deviation joins the lot's in square."""
    short, nothing = 0.1 * norm.pdf(-2, -3, 5**0.5), 0.9 * norm.pdf(-2, 0, 1)

    assert pytest.approx(short / (short + nothing)) == _shorted([0.5, -2.0], table=_two(extra=2.0))


def test_shift_follows_the_units_own_copper() -> None:
    """A shift of -3 with a slope of 2 is -2.6 for a unit of ln R 0.2 off the drawing."""
    short, nothing = 0.1 * norm.pdf(-2, -2.6, 1), 0.9 * norm.pdf(-2, 0, 1)

    assert pytest.approx(short / (short + nothing)) == _shorted([0.2, -2.0], table=_two(slope=2.0), copper=0.2)


def test_missing_observable_says_nothing() -> None:
    """Without the one observable that would tell, the prior stands."""
    assert pytest.approx(0.1) == _shorted([0.5, np.nan])


def test_densities_of_the_whole_table_agree_with_scipy() -> None:
    """The products multiplied out are the sum of the logarithms of scipy's normal densities."""
    table = signatures_of(DRAWN)
    spread = np.array([0.05, 1e-3, 2e-3, 5e-3, 1e-2, 3e-3, 2e-5])
    residual = np.array([[-0.03, -0.055, 0.02, np.nan, np.nan, -0.02, 1e-5]])
    found = case_log_likelihood(residual, spread, table, copper=np.array([-0.02]))[0]
    there = np.isfinite(residual[0])
    own = -0.02 - table.shift[:, [0]]
    wanted = norm.logpdf(
        residual[:, there],
        (table.shift + table.per_copper * own)[:, there],
        np.hypot(spread, table.extra_sd)[:, there],
    ).sum(axis=1)
    constant = np.log(spread[there] * (2 * np.pi) ** 0.5).sum()

    assert (wanted + constant).tolist() == pytest.approx(found.tolist(), rel=1e-6, abs=1e-3)


@given(st.lists(st.floats(-1, 1), min_size=7, max_size=7))
def test_probabilities_sum_to_one(values: list[float]) -> None:
    """Whatever was seen, the probabilities of all causes sum to 1 and none is below 0."""
    spread = np.array([0.05, 1e-3, 2e-3, 5e-3, 1e-2, 3e-3, 2e-5])
    seen = np.array([values])
    found, _ = posterior(seen, spread, signatures_of(DRAWN), np.zeros((1, len(CAUSES))), seen[:, 0])

    assert pytest.approx(1.0) == found.sum()
    assert found.min() >= 0.0


def test_damaged_coils_are_expected_once_in_a_thousand() -> None:
    """Shorted, bridged and open together: one in a thousand (common practice, no source)."""
    damage = (Cause.SHORTED_TURNS, Cause.LAYER_SHORT, Cause.OPEN)

    assert pytest.approx(1e-3) == sum(ABOUT[each].prior for each in damage)
