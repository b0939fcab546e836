"""Guard bands by a stated consumer's risk: against JCGM 106, scipy, and the risks of the quality functions."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from station.core.guard_band import Doubt, guard_band
from station.core.limits import acceptance_limits, judge
from station.core.plan import Characteristic, Guard
from station.core.results import Decision, Result, ResultStatus, Shape, Term
from station.core.uncertainty import combine, expanded_uncertainty
from station.quality.process import NormalProcess
from station.quality.risk import (
    Tolerance,
    conformance_probability,
    global_risk,
    guard_band_for_global_risk,
    guard_band_for_specific_risk,
)

NORMAL_U = stats.norm.ppf(0.975)
"""U over u of a normal error."""


def rule(
    lower: float | None, upper: float | None, *, specific: float | None = None, whole: float | None = None
) -> Characteristic:
    """A characteristic judged by a risk; the process is N(0, 0.5)."""
    mean, deviation = (None, None) if whole is None else (0.0, 0.5)
    guard = Guard(
        0.0, specific_risk=specific, global_risk=whole, process_mean=mean, process_deviation=deviation
    )
    return Characteristic("R20", "ohm", "resistance", lower, upper, guard=guard)


def normal(u: float) -> Doubt:
    """The doubt of a result whose error is normal."""
    return Doubt(NORMAL_U * u, u, math.inf)


def test_zener_diode_of_the_guide_lies_on_the_acceptance_limit_of_its_own_risk() -> None:
    """JCGM 106:2012, 7.4 (from memory, arithmetic exact): T_U = -5.4 V, y = -5.47 V, u = 0.05 V, p_c = 0.919243."""
    characteristic = rule(None, -5.4, specific=1.0 - 0.9192433407662289)
    w = guard_band(characteristic, normal(0.05))

    assert -5.47 == pytest.approx(-5.4 - w, abs=1e-12)


@pytest.mark.parametrize(
    ("factor", "risk"),
    [(0.0, 0.5), (0.83, 0.048457226266722775), (1.0, 0.02275013194817921), (1.5, 0.0013498980316301035)],
)
def test_specific_risk_gives_the_guard_factor_of_the_guide(factor: float, risk: float) -> None:
    """ILAC-G8:09/2019, Table 1 (from memory; arithmetic exact): w = r U, U = 2 u."""
    assert factor * 2.0 == pytest.approx(guard_band(rule(None, 10.0, specific=risk), normal(1.0)), abs=1e-9)


def test_global_risk_gives_the_guard_band_that_holds_it() -> None:
    """JCGM 106:2012, 9.5.2, computed apart: N(0, 0.5), u = 0.1, limits -1 and 1, w = 0.2 leaves 0.000160700236."""
    characteristic = rule(-1.0, 1.0, whole=0.00016070023603645826)

    assert 0.2 == pytest.approx(guard_band(characteristic, normal(0.1)), rel=2e-5)


def test_global_risk_that_simple_acceptance_holds_needs_no_guard_band() -> None:
    """The same process and limits: simple acceptance leaves 0.006775723."""
    assert 0.0 == guard_band(rule(-1.0, 1.0, whole=0.006776), normal(0.1))
    assert 0.0 < guard_band(rule(-1.0, 1.0, whole=0.006775), normal(0.1))


@pytest.mark.parametrize("freedom", [1.0, 4.0, 9.99999999999, 30.7])
@pytest.mark.parametrize("risk", [1e-6, 0.001, 0.025, 0.2])
def test_few_degrees_of_freedom_widen_by_students_t(freedom: float, risk: float) -> None:
    """GUM G.4: quantile of t, degrees of freedom truncated; scipy is the reference."""
    whole = math.floor(freedom + 1e-9)
    doubt = Doubt(stats.t.ppf(0.975, whole) * 0.1, 0.1, freedom)

    assert 0.1 * stats.t.isf(risk, whole) == pytest.approx(
        guard_band(rule(None, 10.0, specific=risk), doubt), rel=1e-6
    )


@pytest.mark.parametrize("risk", [0.002, 0.01, 0.025, 0.05, 0.066, 0.1, 0.2, 0.4])
@pytest.mark.parametrize("share", [0.0, 0.2, 0.5, 0.8, 0.95, 1.0])
def test_rectangular_error_never_passes_the_specific_guard_band_more_often(risk: float, share: float) -> None:
    """One rectangle of `share` of the variance, the rest normal: the exact quantile of their sum is not above w."""
    terms = (
        Term("meter", math.sqrt(share), shape=Shape.RECTANGULAR),
        Term("noise", math.sqrt(1.0 - share)),
    )
    doubt = Doubt(expanded_uncertainty(terms), *combine(terms))
    exact = expanded_uncertainty(terms, coverage=1.0 - 2.0 * risk) * (1.0 - 1e-6)

    assert exact <= guard_band(rule(None, 100.0, specific=risk), doubt)


@pytest.mark.parametrize("stated", [0.02, 0.005, 1e-3, 1e-4])
def test_rectangular_error_holds_the_global_risk(stated: float) -> None:
    """A purely rectangular error, its consumer's risk integrated by scipy: at or below the stated one."""
    from scipy.integrate import quad

    u = 0.2
    reach = u * math.sqrt(3.0)
    w = guard_band(rule(-1.0, 1.0, whole=stated), Doubt(0.95 * reach, u, math.inf))

    def accepted(x: float) -> float:
        # The reading of a unit x above the limit is accepted if the error is below -(x + w).
        share = max(0.0, (reach - (x + w)) / (2.0 * reach))
        return share * float(stats.norm.pdf(1.0 + x, 0.0, 0.5))

    assert 2.0 * quad(accepted, 0.0, reach, points=[max(0.0, reach - w)])[0] <= stated


@given(st.floats(0.01, 0.3), st.floats(1e-5, 0.4), st.sampled_from([(-1.0, 1.0), (None, 1.0), (-1.0, None)]))
def test_specific_risk_is_that_of_the_quality_functions(
    u: float, risk: float, ends: tuple[float | None, float | None]
) -> None:
    """Two ways to the same w, one by bisection, one by quantiles."""
    w = guard_band(rule(*ends, specific=risk), normal(u))
    expected = guard_band_for_specific_risk(Tolerance(*ends), u, risk)
    assume(expected is not None)

    if expected is not None and w <= 0.9:
        assert expected <= w * (1.0 + 1e-4) + 1e-9
        held = [1.0 - conformance_probability(Tolerance(*ends), each, u) for each in acceptance(ends, w)]
        assert max(held) <= risk * (1.0 + 2e-4)


def acceptance(ends: tuple[float | None, float | None], w: float) -> list[float]:
    """The acceptance limits that there are."""
    lower, upper = ends
    return [
        each
        for each in (None if lower is None else lower + w, None if upper is None else upper - w)
        if each is not None
    ]


@pytest.mark.slow
@given(
    st.floats(0.02, 0.25), st.floats(1e-5, 0.02), st.sampled_from([(-1.0, 1.0), (None, 0.8), (-0.6, None)])
)
def test_global_risk_is_that_of_the_quality_functions(
    u: float, risk: float, ends: tuple[float | None, float | None]
) -> None:
    """Two ways to the same w, one by Gauss's rule and one by Simpson's; and it holds the stated risk."""
    w = guard_band(rule(*ends, whole=risk), normal(u))
    tolerance, process = Tolerance(*ends), NormalProcess(0.0, 0.5)

    assert w == pytest.approx(guard_band_for_global_risk(tolerance, process, u, risk), rel=1e-4, abs=1e-5)
    assert global_risk(tolerance, process, u, guard_band=w).consumer <= risk * (1.0 + 1e-4)


def test_too_coarse_a_result_is_not_accepted_by_a_global_risk() -> None:
    """A reading that could be anything passes seldom, which must not count as safe: nothing is accepted."""
    lower, upper = acceptance_limits(
        rule(-1.0, 1.0, whole=0.001), 20.0, standard_uncertainty=10.0, degrees_of_freedom=math.inf
    )

    assert lower is not None
    assert upper is not None
    assert lower > upper


@pytest.mark.parametrize(
    ("u", "freedom"),
    [(None, math.inf), (0.1, None), (math.nan, 5.0), (math.inf, 5.0), (-0.1, 5.0), (0.1, 0.5)],
)
@pytest.mark.parametrize("kind", ["specific", "whole"])
def test_result_without_u_or_freedom_is_invalid_under_a_risk(
    kind: str, u: float | None, freedom: float | None
) -> None:
    """What a stated risk needs and a result does not say is our fault, never a PASS nor a FAIL."""
    characteristic = rule(-1.0, 1.0, **{kind: 0.01})
    result = Result("R20", "ohm", ResultStatus.MEASURED, 0.0, u, freedom, 0.2)

    assert Decision.INVALID is judge(characteristic, result).decision
    with pytest.raises(ValueError, match="needs u"):
        guard_band(characteristic, Doubt(0.2, u, freedom))


def test_reason_says_which_risk_set_the_guard_band() -> None:
    """So that the reader of a FAIL knows why 9.15 is not accepted."""
    result = Result("R20", "ohm", ResultStatus.MEASURED, 0.95, 0.1, math.inf, 0.196)
    found = judge(rule(-1.0, 1.0, specific=0.05), result)

    assert found.reason is not None
    assert found.reason.words.endswith("with guard band 835.51 mohm (specific risk 5 %)")
    assert (-0.8355146, 0.8355146) == pytest.approx(
        (found.acceptance_lower, found.acceptance_upper), abs=1e-6
    )
    assert found.conditional


risks = st.floats(1e-6, 0.5)
readings = st.floats(-2.0, 2.0)
uncertainties = st.floats(0.0, 3.0)
freedoms = st.sampled_from([1.0, 3.5, 12.0, 150.0, math.inf])
ends_of = st.sampled_from([(-1.0, 1.0), (None, 1.0), (-1.0, None), (-0.01, 0.01)])
kinds = st.sampled_from(["specific", "whole"])


def decided(characteristic: Characteristic, value: float, u: float, freedom: float) -> Decision | None:
    """The decision on a result."""
    return judge(
        characteristic, Result("R20", "ohm", ResultStatus.MEASURED, value, u, freedom, _expanded(u, freedom))
    ).decision


def _expanded(u: float, freedom: float) -> float:
    return u * float(NORMAL_U if math.isinf(freedom) else stats.t.ppf(0.975, math.floor(freedom)))


@pytest.mark.slow
@given(kinds, ends_of, readings, uncertainties, freedoms, risks, risks)
def test_smaller_stated_risk_never_makes_a_pass(
    kind: str,
    ends: tuple[float | None, float | None],
    value: float,
    u: float,
    freedom: float,
    one: float,
    other: float,
) -> None:
    """A smaller risk is a wider guard band: it turns no FAIL and no INVALID into PASS."""
    small, large = sorted((one, other))
    if decided(rule(*ends, **{kind: large}), value, u, freedom) is not Decision.PASS:
        assert decided(rule(*ends, **{kind: small}), value, u, freedom) is not Decision.PASS


@pytest.mark.slow
@given(kinds, ends_of, readings, uncertainties, uncertainties, freedoms, risks)
def test_more_uncertainty_never_makes_a_pass_under_a_risk(
    kind: str,
    ends: tuple[float | None, float | None],
    value: float,
    u: float,
    more: float,
    freedom: float,
    risk: float,
) -> None:
    """A worse measurement turns nothing into PASS, by any risk."""
    if decided(rule(*ends, **{kind: risk}), value, u, freedom) is not Decision.PASS:
        assert decided(rule(*ends, **{kind: risk}), value, u + more, freedom) is not Decision.PASS


@given(kinds, ends_of, readings, uncertainties, freedoms, risks)
def test_pass_is_always_within_the_tolerance(
    kind: str, ends: tuple[float | None, float | None], value: float, u: float, freedom: float, risk: float
) -> None:
    """No stated risk accepts a reading outside a limit."""
    if decided(rule(*ends, **{kind: risk}), value, u, freedom) is Decision.PASS:
        assert ends[0] is None or value >= ends[0]
        assert ends[1] is None or value <= ends[1]


def test_u_of_nothing_beside_an_expanded_uncertainty_is_no_proof() -> None:
    """Numbers that contradict each other (u = 0, U > 0) never give a reading on the limit a pass by stated risk."""
    result = Result("R20", "ohm", ResultStatus.MEASURED, 10.0, 0.0, math.inf, 0.5)

    assert Decision.INVALID is judge(rule(None, 10.0, specific=0.025), result).decision
