"""Budgets: shares, what dominates, what would halve it, what results share."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.core.budget import Budget, budget_of, correlations_of, halving_of
from station.core.results import Result, ResultStatus, Shape, Term
from station.core.uncertainty import expanded_uncertainty

METER = Term("meter", 3.0, shape=Shape.RECTANGULAR)
NOISE = Term("repeatability", 1.0, 5.0)
SHIFT = Term("thermometer", 2.0)


def result(*terms: Term, name: str = "R20") -> Result:
    """A measured result with these terms."""
    return Result(name, "ohm", ResultStatus.MEASURED, value=100.0, terms=terms)


def budget(*terms: Term) -> Budget:
    """Its budget."""
    found = budget_of(result(*terms))
    assert found is not None
    return found


def test_shares_are_of_the_variance_and_fall() -> None:
    """9, 4 and 1 of 14."""
    found = budget(NOISE, METER, SHIFT)

    assert ["meter", "thermometer", "repeatability"] == [line.term.name for line in found.lines]
    assert [9 / 14, 4 / 14, 1 / 14] == pytest.approx([line.share for line in found.lines])
    assert math.sqrt(14.0) == pytest.approx(found.standard_uncertainty)


def test_term_with_more_than_half_dominates() -> None:
    """9 of 14 does, 4 of 8 does not; a rectangular one asks for a Monte Carlo."""
    first, second = budget(METER, SHIFT, NOISE), budget(SHIFT, replace(SHIFT, name="other"))

    assert first.dominant is not None
    assert ("meter", True) == (first.dominant.term.name, first.needs_monte_carlo)
    assert (None, False) == (second.dominant, second.needs_monte_carlo)


def test_halving_names_the_one_term_that_is_all_of_it() -> None:
    """Alone, it has to be halved itself."""
    found = halving_of([SHIFT])

    assert (("thermometer",), pytest.approx(2.0, rel=2e-3)) == (found.names, found.factor)


def test_halving_needs_two_terms_when_the_rest_is_too_large() -> None:
    """Of two equal ones each must go to half: with one gone 71 % are left."""
    found = halving_of([SHIFT, replace(SHIFT, name="other")])

    assert ({"thermometer", "other"}, pytest.approx(2.0, rel=2e-3)) == (set(found.names), found.factor)


@given(
    terms=st.lists(
        st.builds(
            Term,
            st.sampled_from("abcdefgh"),
            st.floats(0.01, 100.0),
            st.sampled_from([3.0, 10.0, math.inf]),
            st.sampled_from(list(Shape)),
        ),
        min_size=1,
        max_size=6,
    )
)
def test_halving_does_halve(terms: list[Term]) -> None:
    """Put into the budget, what is proposed gives half of U; a step less does not."""
    terms = [replace(each, name=f"{place}") for place, each in enumerate(terms)]
    found = halving_of(terms)

    def shrunk(factor: float) -> float:
        smaller = [
            replace(each, standard_uncertainty=each.standard_uncertainty / factor) if each.name in found.names else each
            for each in terms
        ]
        return expanded_uncertainty(smaller)

    whole = expanded_uncertainty(terms)
    assert shrunk(found.factor) <= whole / 2.0 * (1.0 + 1e-6)
    if math.isfinite(found.factor):
        assert shrunk(found.factor / 1.01) > whole / 2.0 * (1.0 - 1e-3)


def test_result_without_value_or_terms_has_no_budget() -> None:
    """Not measured, not due, or on record without terms."""
    assert budget_of(Result("R20", "ohm", ResultStatus.NOT_MEASURED)) is None
    assert budget_of(result()) is None


def test_no_doubt_has_nothing_to_halve() -> None:
    """And does not divide by it."""
    found = budget(Term("none", 0.0))

    assert (0.0, ()) == (found.coverage_factor, found.halving.names)


def test_results_of_one_meter_are_correlated_by_what_they_share() -> None:
    """9 of 10 and 9 of 13: r = 9 / sqrt(10 x 13); noise of its own readings is not shared."""
    first = result(METER, NOISE, name="R20")
    second = result(METER, SHIFT, NOISE, name="L")
    (found,) = correlations_of((first, second))

    assert ("R20", "L", ("meter",)) == (found.first, found.second, found.shared)
    assert 9.0 / math.sqrt(10.0 * 14.0) == pytest.approx(found.coefficient)


def test_signs_on_record_make_the_coefficient_signed() -> None:
    """One shared term in the same sense, one in the opposite: 4 - 9 of 13; a missing sign makes it a bound again."""
    first = result(replace(METER, sign=1), replace(SHIFT, sign=1), name="L")
    second = result(replace(METER, sign=-1), replace(SHIFT, sign=1), name="Rs")
    (signed,) = correlations_of((first, second))
    (bound,) = correlations_of((first, result(replace(METER, sign=-1), SHIFT, name="Rs")))

    assert (True, ("meter",)) == (signed.signed, signed.opposite)
    assert (4.0 - 9.0) / 13.0 == pytest.approx(signed.coefficient)
    assert (False, 1.0) == (bound.signed, pytest.approx(bound.coefficient))


def test_terms_in_opposite_senses_that_cancel_are_not_named() -> None:
    """Equal shares, one in each sense: the two results are not correlated."""
    other = replace(METER, name="other", sign=1)
    first = result(replace(METER, sign=1), other, name="L")

    assert () == correlations_of((first, result(replace(METER, sign=-1), other, name="Rs")))


def test_results_that_share_little_are_not_named() -> None:
    """A tenth of the variance changes a difference by 5 %."""
    small = Term("meter", 0.3)

    assert () == correlations_of((result(small, SHIFT), result(small, replace(SHIFT, name="other"), name="L")))
