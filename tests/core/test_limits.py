"""Judging results against limits."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import integrate, stats

from station.core.limits import acceptance_limits, judge
from station.core.plan import Characteristic, Guard
from station.core.reasons import reason
from station.core.results import Decision, Judgement, Result, ResultStatus

PASS, FAIL, INVALID = Decision.PASS, Decision.FAIL, Decision.INVALID


def limits(
    lower: float | None = 6.8,
    upper: float | None = 9.2,
    *,
    factor: float = 1.0,
    lower_included: bool = True,
    upper_included: bool = True,
) -> Characteristic:
    """A characteristic R20 with the given limits."""
    return Characteristic(
        "R20", "ohm", "resistance", lower, upper, lower_included, upper_included, Guard(factor)
    )


def measured(value: float | None, expanded: float | None = 0.1) -> Result:
    """A measured R20."""
    return Result("R20", "ohm", ResultStatus.MEASURED, value, 0.05, math.inf, expanded)


def judged(characteristic: Characteristic, value: float, expanded: float) -> Judgement:
    """The judgement of a value."""
    return judge(characteristic, measured(value, expanded))


def test_acceptance_limits_lie_a_guard_band_inside() -> None:
    """JCGM 106:2012, 8.3.2: A_L = T_L + w, A_U = T_U - w."""
    lower, upper = acceptance_limits(limits(1.0, 3.0, factor=0.5), 0.25)

    assert (1.125, 2.875) == (lower, upper)


def test_acceptance_limits_of_one_side() -> None:
    """Where there is no limit there is no acceptance limit."""
    assert (None, 9.0) == acceptance_limits(limits(None, 9.25), 0.25)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -1e-9])
def test_acceptance_limits_refuse_what_is_no_uncertainty(bad: float) -> None:
    """A negative or infinite U would widen or break the limits."""
    with pytest.raises(ValueError, match="finite"):
        acceptance_limits(limits(), bad)


@pytest.mark.parametrize(
    ("ratio", "risk"),
    [(0.0, 0.5), (0.83, 0.048457226266722775), (1.0, 0.02275013194817921), (1.5, 0.0013498980316301035)],
)
def test_risk_on_the_acceptance_limit_is_that_of_the_guide(ratio: float, risk: float) -> None:
    """ILAC-G8:09/2019, table 1: w = r U with U = 2 u leaves 50, 5, 2.5, 0.16 % false acceptance at most.

    From memory; the arithmetic is 1 - Phi(2 r).
    """
    u = 0.1
    _, upper = acceptance_limits(limits(None, 10.0, factor=ratio), 2 * u)
    assert upper is not None

    assert math.isclose(risk, stats.norm.sf(10.0, loc=upper, scale=u), abs_tol=1e-9)


@pytest.mark.parametrize(
    ("factor", "consumer", "producer"),
    [
        (0.0, 0.006775723041635916, 0.011135662902184446),
        (1.0, 0.00016070023603645826, 0.07132490112070142),
    ],
)
def test_risks_of_the_acceptance_limits_are_those_of_the_guide(
    factor: float, consumer: float, producer: float
) -> None:
    """JCGM 106:2012, 9.5.2, equations 17 to 20: production N(0, 0.5), u = 0.1, limits -1 and 1, U = 0.2.

    The numbers were computed apart, by quadrature and by the bivariate normal distribution, agreeing to 2e-6.
    """
    lower, upper = acceptance_limits(limits(-1.0, 1.0, factor=factor), 0.2)
    assert lower is not None
    assert upper is not None

    def accepted(truth: float) -> float:
        chance = stats.norm.cdf(upper, truth, 0.1) - stats.norm.cdf(lower, truth, 0.1)
        return float(chance * stats.norm.pdf(truth, 0.0, 0.5))

    def rejected(truth: float) -> float:
        return float(stats.norm.pdf(truth, 0.0, 0.5)) - accepted(truth)

    outside = integrate.quad(accepted, 1.0, 4.0)[0] + integrate.quad(accepted, -4.0, -1.0)[0]

    assert math.isclose(consumer, outside, rel_tol=1e-6)
    assert math.isclose(producer, integrate.quad(rejected, -1.0, 1.0)[0], rel_tol=1e-6)


@pytest.mark.parametrize(
    ("value", "decision", "conditional"),
    [
        (6.69, FAIL, False),
        (6.75, FAIL, True),
        (6.8, FAIL, True),
        (6.85, FAIL, True),
        (6.95, PASS, False),
        (8.0, PASS, False),
        (9.05, PASS, False),
        (9.15, FAIL, True),
        (9.25, FAIL, True),
        (9.31, FAIL, False),
    ],
)
def test_judge_around_limits_with_guard_band(value: float, decision: Decision, conditional: bool) -> None:
    """Inside the tolerance but within U of a limit is FAIL, and marked conditional on either side."""
    found = judged(limits(), value, 0.1)

    assert (decision, conditional) == (found.decision, found.conditional)


@pytest.mark.parametrize(("included", "decision"), [(True, PASS), (False, FAIL)])
@pytest.mark.parametrize(
    ("value", "factor", "expanded"), [(6.75, 0.0, 0.1), (9.25, 0.0, 0.1), (7.0, 1.0, 0.25), (9.0, 1.0, 0.25)]
)
def test_judge_at_an_end_goes_by_the_plan(
    value: float, factor: float, expanded: float, included: bool, decision: Decision
) -> None:
    """Whether an end belongs to the limits holds for tolerance limits and acceptance limits."""
    characteristic = limits(6.75, 9.25, factor=factor, lower_included=included, upper_included=included)

    assert decision is judged(characteristic, value, expanded).decision


@pytest.mark.parametrize("value", [None, math.nan, math.inf, -math.inf])
def test_judge_without_value_is_invalid(value: float | None) -> None:
    """What is no number never passes and never fails."""
    assert judge(limits(), measured(value)).decision is INVALID


@pytest.mark.parametrize("expanded", [None, math.nan, math.inf, -0.1])
@pytest.mark.parametrize("factor", [0.0, 1.0])
def test_judge_without_uncertainty_is_invalid(expanded: float | None, factor: float) -> None:
    """Without a good uncertainty no value is judged, not even without guard band."""
    assert judge(limits(factor=factor), measured(8.0, expanded)).decision is INVALID


def test_judge_not_measured_keeps_the_reason() -> None:
    """The cause that the method found goes on."""
    why = reason("not_still")
    result = Result("R20", "ohm", ResultStatus.NOT_MEASURED, reason=why)

    assert Judgement("R20", INVALID, reason=why) == judge(limits(), result)


def test_judge_not_measured_with_a_value_is_invalid() -> None:
    """A value that was left in a result without status is not judged."""
    assert (
        judge(limits(), Result("R20", "ohm", ResultStatus.NOT_MEASURED, 8.0, 0.0, 1.0, 0.0)).decision
        is INVALID
    )


def test_judge_not_due_has_no_decision() -> None:
    """Not due is neither pass nor not measured."""
    assert Judgement("R20", None) == judge(limits(), Result("R20", "ohm", ResultStatus.NOT_DUE))


@pytest.mark.parametrize(("name", "unit"), [("L", "ohm"), ("R20", "kohm")])
def test_judge_refuses_a_result_that_is_not_its_own(name: str, unit: str) -> None:
    """Another characteristic or another unit is a slip in the program, not a decision."""
    with pytest.raises(ValueError, match="can't judge"):
        judge(limits(), Result(name, unit, ResultStatus.MEASURED, 8.0, 0.0, 1.0, 0.0))


@pytest.mark.parametrize(("value", "decision"), [(8.0, INVALID), (6.0, INVALID), (3.5, FAIL), (12.5, FAIL)])
def test_judge_with_uncertainty_wider_than_the_tolerance(value: float, decision: Decision) -> None:
    """If the guard bands meet, the bench can't tell: not measured, unless the unit is surely outside."""
    found = judged(limits(), value, 2.0)

    assert decision is found.decision
    assert found.reason is not None


def test_judge_tells_value_limit_and_guard_band() -> None:
    """Who reads a FAIL sees what was measured and what it was held against."""
    found = judged(limits(), 9.15, 0.1)

    assert found.reason is not None
    assert found.reason.code == "above_upper"
    assert (
        found.reason.words
        == "above the upper limit: R20 = 9.1500 ohm, limit 9.2000 ohm, with guard band 9.1000 ohm"
    )


values = st.floats(-20.0, 20.0)
widths = st.floats(0.0, 5.0)
factors = st.floats(0.0, 3.0)


@st.composite
def characteristics(draw: st.DrawFn) -> Characteristic:
    """Limits on one side or both, ends in or out."""
    ends = sorted(draw(st.tuples(st.integers(-40, 40), st.integers(-40, 40))))
    assume(ends[0] < ends[1])
    lower = draw(st.sampled_from([None, ends[0] / 4]))
    upper = draw(st.sampled_from([None, ends[1] / 4]))
    assume(lower is not None or upper is not None)
    included = draw(st.tuples(st.booleans(), st.booleans()))
    return limits(lower, upper, factor=draw(factors), lower_included=included[0], upper_included=included[1])


@given(characteristic=characteristics(), value=values, width=widths)
def test_pass_is_always_inside_the_limits_by_the_guard_band(
    characteristic: Characteristic, value: float, width: float
) -> None:
    """The law of guarded acceptance, stated anew from JCGM 106, 8.3.2.1."""
    guard = characteristic.guard.factor * width
    if judged(characteristic, value, width).decision is PASS:
        assert characteristic.lower is None or value >= characteristic.lower + guard
        assert characteristic.upper is None or value <= characteristic.upper - guard


@given(characteristic=characteristics(), value=values, width=widths, wider=factors)
def test_a_wider_guard_band_never_makes_a_pass(
    characteristic: Characteristic, value: float, width: float, wider: float
) -> None:
    """More caution turns no FAIL and no INVALID into PASS."""
    cautious = limits(
        characteristic.lower,
        characteristic.upper,
        factor=characteristic.guard.factor + wider,
        lower_included=characteristic.lower_included,
        upper_included=characteristic.upper_included,
    )
    if judged(characteristic, value, width).decision is not PASS:
        assert judged(cautious, value, width).decision is not PASS


@given(characteristic=characteristics(), value=values, width=widths, more=widths)
def test_more_uncertainty_never_makes_a_pass(
    characteristic: Characteristic, value: float, width: float, more: float
) -> None:
    """A worse measurement turns nothing into PASS."""
    if judged(characteristic, value, width).decision is not PASS:
        assert judged(characteristic, value, width + more).decision is not PASS


@given(characteristic=characteristics(), points=st.tuples(values, values, values), width=widths)
def test_what_passes_is_one_interval(
    characteristic: Characteristic, points: tuple[float, float, float], width: float
) -> None:
    """Between two values that pass, every value passes."""
    low, middle, high = sorted(points)
    if (
        judged(characteristic, low, width).decision is PASS
        and judged(characteristic, high, width).decision is PASS
    ):
        assert judged(characteristic, middle, width).decision is PASS


@pytest.mark.slow
@given(characteristic=characteristics(), value=values, width=widths)
def test_every_judgement_but_pass_has_a_reason(
    characteristic: Characteristic, value: float, width: float
) -> None:
    """Whoever is told no is told why."""
    found = judged(characteristic, value, width)

    assert (found.decision is PASS) == (found.reason is None)
