"""Combining and expanding uncertainty."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from station.core.results import Shape, Term
from station.core.uncertainty import (
    combine,
    expanded_uncertainty,
    student_factor,
)

RECTANGULAR = Shape.RECTANGULAR


def rectangle(half_width: float) -> Term:
    """A rectangular term: u = a / sqrt 3 (GUM 4.3.7)."""
    return Term("rectangle", half_width / math.sqrt(3), shape=RECTANGULAR)


# GUM (JCGM 100:2008), H.1, table H.1; lengths in nm. From memory; the printed results follow from them.
END_GAUGE = (
    Term("standard", 25.0, 18.0),
    Term("difference", 9.7, 25.6),
    Term("expansion", 50e6 * 0.1 * 5.8e-7, 50.0),
    Term("temperature", 50e6 * 1.15e-5 * 0.029, 2.0),
)


def test_combine_agrees_with_the_end_gauge_of_the_gum() -> None:
    """GUM H.1: u_c = 32 nm (31.71), 16 effective degrees of freedom (16.66)."""
    u, freedom = combine(END_GAUGE)

    assert math.isclose(31.710497079043083, u, rel_tol=1e-12)
    assert math.isclose(16.65635486323365, freedom, rel_tol=1e-12)


def test_expanded_uncertainty_agrees_with_the_end_gauge_of_the_gum() -> None:
    """GUM H.1.6: t99(16) = 2.92, U99 = 93 nm."""
    assert round(student_factor(16, coverage=0.99), 2) == 2.92
    assert round(expanded_uncertainty(END_GAUGE, coverage=0.99)) == 93


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 5, 10, 31, 100, 199, 200, 1001, 10_000, 10**6])
@pytest.mark.parametrize("coverage", [0.6827, 0.95, 0.99])
def test_student_factor_agrees_with_scipy(freedom: int, coverage: float) -> None:
    """An independent implementation of the t distribution gives the same factor."""
    assert math.isclose(
        stats.t.ppf(0.5 + coverage / 2, freedom), student_factor(freedom, coverage=coverage), rel_tol=1e-9
    )


def test_one_rectangular_term_gets_its_own_factor() -> None:
    """GUM G.1.3: a rectangular distribution's 95 % is 0.95 a = 1.65 u, not 1.96 u."""
    assert math.isclose(0.95, expanded_uncertainty([rectangle(1.0)]), rel_tol=1e-12)


def test_two_equal_rectangular_terms_make_a_triangle() -> None:
    """The sum of two equal rectangular errors is triangular: U95 = 2 a (1 - sqrt 0.05) (closed form)."""
    terms = [rectangle(1.0), rectangle(1.0)]

    assert math.isclose(2 * (1 - math.sqrt(0.05)), expanded_uncertainty(terms), rel_tol=2e-6)


@pytest.mark.parametrize(
    "terms",
    [
        [Term("a", 1.0, shape=RECTANGULAR), Term("n", 0.01)],
        [Term("a", 1.0, shape=RECTANGULAR), Term("n", 0.5)],
        [Term("a", 1.0, shape=RECTANGULAR), Term("n", 3.0)],
        [Term("a", 1.0, shape=RECTANGULAR), Term("b", 0.4, shape=RECTANGULAR), Term("n", 0.2)],
        [Term("a", 1.0, shape=RECTANGULAR), Term("b", 1.0, shape=RECTANGULAR), Term("n", 1.0)],
        [
            Term("a", 1.0, shape=RECTANGULAR),
            Term("b", 0.9, shape=RECTANGULAR),
            Term("c", 0.8, shape=RECTANGULAR),
        ],
        [Term(name, 1.0, shape=RECTANGULAR) for name in "abcdef"],
        [Term("a", 1.0, shape=RECTANGULAR), Term("n", 0.3, 9.0)],
        [Term("a", 1.0, shape=RECTANGULAR), Term("b", 0.04, shape=RECTANGULAR), Term("n", 1e-7)],
    ],
)
def test_expanded_uncertainty_agrees_with_monte_carlo(terms: list[Term]) -> None:
    """JCGM 101: 95 % of random draws lie within U; U is at most 1 % narrow and 2.5 % wide.

    The draws' own error is 0.2 %. Wide is a t part beside a larger rectangular term.
    """
    generator = np.random.default_rng(20)
    total = np.zeros(300_000)
    for term in terms:
        if term.shape is RECTANGULAR:
            total += generator.uniform(-1, 1, total.size) * term.standard_uncertainty * math.sqrt(3)
        elif math.isinf(term.degrees_of_freedom):
            total += generator.normal(size=total.size) * term.standard_uncertainty
        else:
            total += generator.standard_t(term.degrees_of_freedom, total.size) * term.standard_uncertainty

    assert 0.99 <= expanded_uncertainty(terms) / float(np.quantile(abs(total), 0.95)) <= 1.025


terms_strategy = st.lists(
    st.builds(
        Term,
        st.just("x"),
        st.floats(1e-9, 1e3),
        st.floats(1.0, 1e6) | st.just(math.inf),
        st.sampled_from(Shape),
    ),
    min_size=1,
    max_size=8,
)


@given(terms=terms_strategy)
def test_expanded_uncertainty_lies_between_the_extremes(terms: list[Term]) -> None:
    """k is at least that of one rectangular term, at most t at the fewest degrees of freedom of any term.

    A small term on top of it makes u larger, and leaves 0.95 a as it is as long as it does not reach that far
    (5 % of a): the factor is then lower by up to 0.13 %, hence the allowance below.
    """
    u, _ = combine(terms)
    fewest = min((t.degrees_of_freedom for t in terms if t.shape is not RECTANGULAR), default=math.inf)
    most = student_factor(math.floor(min(fewest, 1e6)))

    assert 0.95 * math.sqrt(3) * 0.998 <= expanded_uncertainty(terms) / u <= most * 1.0001


@given(terms=terms_strategy, scale=st.floats(1e-6, 1e6))
def test_expanded_uncertainty_scales_with_its_terms(terms: list[Term], scale: float) -> None:
    """The unit does not matter: ohm or mohm give the same factor."""
    scaled = [Term(t.name, t.standard_uncertainty * scale, t.degrees_of_freedom, t.shape) for t in terms]

    assert math.isclose(scale * expanded_uncertainty(terms), expanded_uncertainty(scaled), rel_tol=1e-5)


@pytest.mark.slow
@given(terms=terms_strategy, more=st.floats(1e-6, 1e3))
def test_another_normal_term_never_narrows(terms: list[Term], more: float) -> None:
    """More doubt is never less, as long as the new term's degrees of freedom are infinite."""
    many = [Term(t.name, t.standard_uncertainty, math.inf, t.shape) for t in terms]

    assert expanded_uncertainty([*many, Term("more", more)]) >= expanded_uncertainty(many) * (1 - 1e-6)


@pytest.mark.parametrize(
    "terms",
    [
        [],
        [Term("x", -1.0)],
        [Term("x", math.nan)],
        [Term("x", math.inf)],
        [Term("x", 1.0, 0.5)],
        [Term("x", 1.0, math.nan)],
    ],
)
def test_a_budget_that_is_none_is_refused(terms: list[Term]) -> None:
    """No terms, negative, not finite, or without a degree of freedom: an error, never a small U."""
    with pytest.raises(ValueError, match="term"):
        expanded_uncertainty(terms)


def test_student_factor_needs_a_degree_of_freedom() -> None:
    """Below one there is no distribution."""
    with pytest.raises(ValueError, match="1 or more"):
        student_factor(0)


def test_all_zero_terms_give_zero() -> None:
    """Terms that are all nought expand to nought."""
    assert expanded_uncertainty([Term("x", 0.0)]) == 0.0
