"""Consumer's and producer's risk, and the guard bands that hold them."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from station.core.limits import acceptance_limits, judge
from station.core.plan import Characteristic, Guard
from station.core.results import Decision, Result, ResultStatus
from station.quality.process import NormalProcess, process_of_measured
from station.quality.risk import (
    Tolerance,
    conformance_probability,
    global_risk,
    guard_band,
    guard_band_for_global_risk,
    guard_band_for_specific_risk,
    risk_table,
)

BOTH = Tolerance(-1.0, 1.0)
PROCESS = NormalProcess(0.0, 0.5)


def test_ball_bearings_have_the_printed_risk() -> None:
    """JCGM 106:2012, 9.5.4: gamma process, limit 2 um, u = 0.25 um; 0.8 % printed, 0.0080191 by scipy's quadrature."""
    process = stats.gamma(4.0, scale=0.25)
    risk = global_risk(Tolerance(None, 2.0), process, 0.25)

    assert 0.042 == pytest.approx(1.0 - process.cdf(2.0), abs=5e-4)
    assert 0.008 == round(risk.consumer, 3)
    assert (0.008019111884287174, 0.017444569229783605) == pytest.approx((risk.consumer, risk.producer), abs=1e-9)


def test_ball_bearings_have_the_printed_acceptance_limit() -> None:
    """JCGM 106:2012, 9.5.4: a consumer's risk of 0.1 % asks for an acceptance limit of 1.67 um."""
    process, tolerance = stats.gamma(4.0, scale=0.25), Tolerance(None, 2.0)
    w = guard_band_for_global_risk(tolerance, process, 0.25, 0.001)

    assert w is not None
    assert 1.67 == round(2.0 - w, 2)
    assert 1.671828771555959 == pytest.approx(2.0 - w, abs=1e-6)
    assert 0.0754938761024977 == pytest.approx(global_risk(tolerance, process, 0.25, guard_band=w).producer, abs=1e-6)


@pytest.mark.parametrize(
    ("w", "consumer", "producer"),
    [(0.0, 0.006775723041635916, 0.011135662902184446), (0.2, 0.00016070023603645826, 0.07132490112070142)],
)
def test_normal_risks_agree_with_quadrature(w: float, consumer: float, producer: float) -> None:
    """JCGM 106, equations 17 to 20, by scipy's quadrature and by a bivariate normal integral; to 1e-8."""
    risk = global_risk(BOTH, PROCESS, 0.1, guard_band=w)

    assert (consumer, producer) == pytest.approx((risk.consumer, risk.producer), abs=1e-8)


@pytest.mark.parametrize(
    ("process", "u", "w"),
    [(PROCESS, 0.3, 0.1), (NormalProcess(0.9, 0.05), 0.2, 0.0), (NormalProcess(0.5, 1.5), 0.02, 0.03)],
)
def test_normal_risks_agree_with_the_bivariate_normal(process: NormalProcess, u: float, w: float) -> None:
    """True value and reading together are bivariate normal: scipy's distribution function, to its 1e-5."""
    spread = process.deviation**2
    both = stats.multivariate_normal([process.mean] * 2, [[spread, spread], [spread, spread + u * u]])

    def below(true: float, read: float) -> float:
        return float(both.cdf([true, read]))

    high, low, top = 1.0 - w, -1.0 + w, 40.0
    accepted = below(top, high) - below(top, low)
    good = below(1.0, high) - below(1.0, low) - below(-1.0, high) + below(-1.0, low)
    conforming = process.cdf(1.0) - process.cdf(-1.0)
    risk = global_risk(BOTH, process, u, guard_band=w)

    assert (accepted - good, conforming - good, accepted) == pytest.approx(
        (risk.consumer, risk.producer, risk.accepted), abs=3e-5
    )


def test_zener_diode_conforms_as_printed() -> None:
    """JCGM 106:2012, 7.4 (from memory): p_c = 0.92 at -5.47 V, u = 0.05 V, upper limit -5.40 V."""
    assert 0.92 == round(conformance_probability(Tolerance(None, -5.4), -5.47, 0.05), 2)


@pytest.mark.parametrize(
    ("r", "largest"),
    [(0.0, 0.5), (0.83, 0.048457226266722775), (1.0, 0.02275013194817921), (1.5, 0.0013498980316301035)],
)
def test_guard_factors_have_the_risk_that_is_said_of_them(r: float, largest: float) -> None:
    """ILAC-G8:09/2019, Table 1 (50, 5, 2.5, 0.16 %, upper bounds; from memory): a reading on the acceptance limit."""
    tolerance, u = Tolerance(None, 1.0), 0.1
    at = 1.0 - guard_band(r, 2.0 * u)

    assert largest == pytest.approx(1.0 - conformance_probability(tolerance, at, u), abs=1e-9)


def test_specific_guard_band_is_the_normal_quantile() -> None:
    """One limit active: w = z u; ISO 14253-1's 5 % is 1.645 u."""
    w = guard_band_for_specific_risk(Tolerance(None, 1.0), 0.1, 0.05)

    assert 1.6448536269514722 * 0.1 == pytest.approx(w, rel=1e-9)


def test_specific_guard_band_counts_both_limits() -> None:
    """Where u is wide both tails count, and the band is wider than for one limit."""
    w = guard_band_for_specific_risk(BOTH, 0.5, 0.05)

    assert w is not None
    assert 0.05 == pytest.approx(1.0 - conformance_probability(BOTH, 1.0 - w, 0.5), abs=1e-9)
    assert w > 1.6449 * 0.5


def test_specific_guard_band_is_none_when_no_reading_is_safe() -> None:
    """u of 0.6 within +-1 leaves 9.6 % at the very middle."""
    assert guard_band_for_specific_risk(BOTH, 0.6, 0.05) is None


def test_process_knowledge_draws_the_estimate_towards_its_mean() -> None:
    """JCGM 106, 6.2: with the process as wide as u the best estimate is half way, its u less by sqrt 2."""
    found = conformance_probability(Tolerance(None, 1.0), 1.2, 0.5, process=NormalProcess(0.0, 0.5))

    assert stats.norm.cdf((1.0 - 0.6) / (0.5 / 2**0.5)) == pytest.approx(found, rel=1e-12)


@pytest.mark.parametrize("mean", [-0.7, 0.7])
def test_specific_guard_band_with_a_process_holds_at_both_ends(mean: float) -> None:
    """An off-centre process makes one limit the worse one; w holds it there."""
    process = NormalProcess(mean, 0.3)
    w = guard_band_for_specific_risk(BOTH, 0.2, 0.01, process=process)

    assert w is not None
    risks = [1.0 - conformance_probability(BOTH, end, 0.2, process=process) for end in (-1.0 + w, 1.0 - w)]
    assert 0.01 == pytest.approx(max(risks), rel=1e-6)


def test_safe_process_needs_no_guard_band() -> None:
    """Simple acceptance where it is safe enough; never a band below 0, which would accept beyond the limits."""
    assert 0.0 == guard_band_for_global_risk(BOTH, NormalProcess(0.0, 0.1), 0.05, 0.001)
    assert 0.0 == guard_band_for_specific_risk(BOTH, 0.1, 0.6)


def test_bands_that_meet_accept_nothing() -> None:
    """All conforming units are then rejected."""
    risk = global_risk(BOTH, PROCESS, 0.1, guard_band=1.0)

    assert (0.0, 0.0, 0.0) == (risk.consumer, risk.accepted, risk.nonconforming_among_accepted)
    assert 0.9544997361036416 == pytest.approx(risk.producer, abs=1e-12)


def test_table_has_a_row_for_each_band() -> None:
    """In the order given."""
    rows = risk_table(BOTH, PROCESS, 0.1, [0.2, 0.0])

    assert [0.2, 0.0] == [row.guard_band for row in rows]


def test_measured_risk_is_at_or_below_the_stated_one() -> None:
    """20,000 units piled near the limits, 1,000 of them out and more: the guard band holds what it states.

    A stated 0.5 % of all units; four standard errors of 20,000 are 0.2 %. Simple acceptance lets 2 % and more through.
    """
    process, u, stated, units = NormalProcess(0.0, 0.8), 0.15, 0.005, 20_000
    rng = np.random.default_rng(41)
    true = rng.normal(process.mean, process.deviation, units)
    read = true + rng.normal(0.0, u, units)
    out = np.abs(true) > 1.0
    w = guard_band_for_global_risk(BOTH, process, u, stated)

    assert w is not None
    escaped = float(np.mean(out & (np.abs(read) <= 1.0 - w)))
    simple = float(np.mean(out & (np.abs(read) <= 1.0)))
    assert out.sum() > 1000
    assert escaped <= stated + 4.0 * (stated / units) ** 0.5
    assert simple > 4.0 * stated
    assert global_risk(BOTH, process, u).consumer == pytest.approx(simple, abs=4.0 * (simple / units) ** 0.5)


def test_station_judges_at_or_below_the_stated_risk() -> None:
    """20,000 units near the limits through the station's own `judge`: w as a factor of U holds what it states.

    Beside it simple acceptance, r = 0, lets four times the stated share through.
    """
    process, u, stated, units = NormalProcess(8.0, 0.8), 0.15, 0.005, 20_000
    tolerance = Tolerance(7.0, 9.0)
    rng = np.random.default_rng(43)
    true = rng.normal(process.mean, process.deviation, units)
    read = true + rng.normal(0.0, u, units)
    w = guard_band_for_global_risk(tolerance, process, u, stated)
    assert w is not None

    def escaped(factor: float) -> float:
        rule = Characteristic("R20", "ohm", "resistance", 7.0, 9.0, True, True, Guard(factor))
        passed = [
            judge(rule, Result("R20", "ohm", ResultStatus.MEASURED, value, u, math.inf, 2.0 * u)).decision
            is Decision.PASS
            for value in read.tolist()
        ]
        return float(np.mean(np.array(passed) & ((true < 7.0) | (true > 9.0))))

    assert escaped(w / (2.0 * u)) <= stated + 4.0 * (stated / units) ** 0.5
    assert escaped(0.0) > 4.0 * stated


@given(st.floats(0.0, 2.0), st.floats(0.0, 0.5))
def test_guard_band_is_the_one_that_the_station_takes_off(factor: float, expanded: float) -> None:
    """The risks belong to the acceptance limits that `judge` uses."""
    rule = Characteristic("R20", "ohm", "resistance", 7.0, 9.0, True, True, Guard(factor))
    w = guard_band(factor, expanded)

    assert (7.0 + w, 9.0 - w) == acceptance_limits(rule, expanded)


SPREADS = st.floats(0.05, 3.0)
UNCERTAINTIES = st.floats(0.01, 1.0)
MEANS = st.floats(-1.5, 1.5)


@pytest.mark.slow
@given(MEANS, SPREADS, UNCERTAINTIES, st.floats(0.0, 0.9), st.floats(0.0, 0.9))
def test_wider_guard_band_trades_one_risk_for_the_other(
    mean: float, spread: float, u: float, one: float, other: float
) -> None:
    """Consumer's risk and acceptance never rise with it, producer's risk never falls."""
    narrow, wide = sorted((one, other))
    process = NormalProcess(mean, spread)
    before, after = risk_table(BOTH, process, u, [narrow, wide])

    assert after.consumer <= before.consumer + 1e-12
    assert after.producer >= before.producer - 1e-12
    assert after.accepted <= before.accepted + 1e-12


@pytest.mark.slow
@given(MEANS, SPREADS, UNCERTAINTIES, st.floats(0.0, 0.99))
def test_shares_are_shares(mean: float, spread: float, u: float, w: float) -> None:
    """Each lies between 0 and 1, and accepted = conforming - producer's + consumer's."""
    process = NormalProcess(mean, spread)
    risk = global_risk(BOTH, process, u, guard_band=w)
    conforming = process.cdf(1.0) - process.cdf(-1.0)

    assert all(-1e-12 <= each <= 1.0 for each in (risk.consumer, risk.producer, risk.accepted))
    assert conforming - risk.producer + risk.consumer == pytest.approx(risk.accepted, abs=1e-9)


@pytest.mark.slow
@given(MEANS, SPREADS, UNCERTAINTIES, st.floats(1e-5, 0.05))
def test_global_guard_band_holds_and_is_the_least(mean: float, spread: float, u: float, largest: float) -> None:
    """At w the risk is held, a little below it no more."""
    process = NormalProcess(mean, spread)
    w = guard_band_for_global_risk(BOTH, process, u, largest)

    assert w is not None
    assert global_risk(BOTH, process, u, guard_band=w).consumer <= largest
    if w > 1e-6:
        assert global_risk(BOTH, process, u, guard_band=w - 1e-6).consumer >= largest - 1e-9


@given(UNCERTAINTIES, st.floats(1e-5, 0.3), st.floats(1e-5, 0.3))
def test_smaller_risk_never_needs_less_guard_band(u: float, one: float, other: float) -> None:
    """The specific band grows as the risk allowed shrinks; None is the widest of all."""
    strict, loose = sorted((one, other))
    wide, narrow = (guard_band_for_specific_risk(BOTH, u, each) for each in (strict, loose))

    assert (math.inf if narrow is None else narrow) <= (math.inf if wide is None else wide)


@given(st.floats(-2.0, 2.0), UNCERTAINTIES)
def test_conformance_falls_with_the_distance_from_the_middle(reading: float, u: float) -> None:
    """Symmetric about the middle, and largest there."""
    assume(abs(reading) > 1e-6)
    found = conformance_probability(BOTH, reading, u)

    assert found == pytest.approx(conformance_probability(BOTH, -reading, u), abs=1e-12)
    assert found <= conformance_probability(BOTH, reading / 2.0, u) + 1e-12


@pytest.mark.parametrize(("lower", "upper"), [(None, None), (1.0, 1.0), (2.0, 1.0), (math.nan, 1.0), (None, math.inf)])
def test_limits_that_are_no_tolerance_are_refused(lower: float | None, upper: float | None) -> None:
    """One finite limit at least, the lower below the upper."""
    with pytest.raises(ValueError, match="limit"):
        Tolerance(lower, upper)


@pytest.mark.parametrize("u", [0.0, -0.1, math.nan, math.inf])
def test_uncertainty_that_is_none_is_refused(u: float) -> None:
    """A reading without uncertainty has no risk to compute."""
    for call in (
        lambda: global_risk(BOTH, PROCESS, u),
        lambda: conformance_probability(BOTH, 0.0, u),
        lambda: guard_band_for_specific_risk(BOTH, u, 0.05),
        lambda: guard_band_for_global_risk(BOTH, PROCESS, u, 0.05),
    ):
        with pytest.raises(ValueError, match="standard uncertainty"):
            call()


@pytest.mark.parametrize("bad", [-0.1, math.nan, math.inf])
def test_guard_band_that_widens_acceptance_is_refused(bad: float) -> None:
    """A negative band would accept beyond the limits."""
    with pytest.raises(ValueError, match="guard band"):
        global_risk(BOTH, PROCESS, 0.1, guard_band=bad)
    with pytest.raises(ValueError, match="guard band"):
        guard_band(bad, 0.1)


@pytest.mark.parametrize("largest", [0.0, 1.0, -0.1, math.nan])
def test_largest_risk_that_is_none_is_refused(largest: float) -> None:
    """Nothing is without risk."""
    with pytest.raises(ValueError, match="largest risk"):
        guard_band_for_specific_risk(BOTH, 0.1, largest)


def test_process_of_measured_takes_off_the_measurement() -> None:
    """Readings spread by process and measurement together: 0.5^2 = 0.4^2 + 0.3^2."""
    quantiles = stats.norm.ppf((np.arange(4000) + 0.5) / 4000.0)
    process = process_of_measured((8.0 + 0.5 * quantiles).tolist(), 0.3)

    assert (8.0, 0.4) == pytest.approx((process.mean, process.deviation), rel=2e-3)


@pytest.mark.parametrize(
    ("values", "u", "words"), [([1.0, 2.0] * 10, 0.1, "30"), ([1.0, 2.0] * 20, 0.6, "whole spread")]
)
def test_values_without_a_process_are_refused(values: list[float], u: float, words: str) -> None:
    """Too few, or no wider than the measurement."""
    with pytest.raises(ValueError, match=words):
        process_of_measured(values, u)


@pytest.mark.parametrize(("mean", "deviation"), [(0.0, 0.0), (0.0, -1.0), (math.nan, 1.0), (0.0, math.inf)])
def test_process_without_spread_is_refused(mean: float, deviation: float) -> None:
    """A standard deviation above 0, and finite."""
    with pytest.raises(ValueError, match="standard deviation above 0"):
        NormalProcess(mean, deviation)
