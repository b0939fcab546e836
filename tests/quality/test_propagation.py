"""Propagation with correlations, and Monte Carlo, against the worked examples of the GUM."""

import math

import numpy as np
import pytest

from station.core.results import Shape, Term
from station.core.uncertainty import combine, expanded_uncertainty
from station.quality.propagation import Propagated, propagate, simulate_terms

# JCGM 100:2008 (GUM), H.2, table H.2: five simultaneous readings of V (volt), I (ampere), phi (radian).
READINGS = np.array(
    [
        [5.007, 0.019663, 1.0456],
        [4.994, 0.019639, 1.0438],
        [5.005, 0.019640, 1.0468],
        [4.990, 0.019685, 1.0428],
        [4.999, 0.019678, 1.0433],
    ]
)
# GUM H.1, table H.1, in nm; the inputs from memory, the printed results follow from them.
END_GAUGE = (
    Term("standard", 25.0, 18.0),
    Term("difference", 9.7, 25.6),
    Term("expansion", 50e6 * 0.1 * 5.8e-7, 50.0),
    Term("temperature", 50e6 * 1.15e-5 * 0.029, 2.0),
)


def impedance(inputs: np.ndarray) -> np.ndarray:
    """Resistance, reactance and impedance of V, I, phi (GUM H.2, equation H.9)."""
    voltage, current, phase = inputs
    size = voltage / current
    return np.array([size * np.cos(phase), size * np.sin(phase), size])


def h2() -> Propagated:
    """The first approach: means, uncertainties and correlations of the means, propagated."""
    means = READINGS.mean(axis=0)
    covariance = np.cov(READINGS, rowvar=False) / len(READINGS)
    u = np.sqrt(np.diag(covariance))
    return propagate(impedance, means, u, covariance / np.outer(u, u))


def test_means_of_the_gum_example_are_reproduced() -> None:
    """Table H.2: 4.9990 V, 19.6610 mA, 1.04446 rad; u 0.0032 V, 0.0095 mA, 0.00075 rad; r -0.36, 0.86, -0.65."""
    covariance = np.cov(READINGS, rowvar=False) / len(READINGS)
    u = np.sqrt(np.diag(covariance))
    r = covariance / np.outer(u, u)

    assert [4.9990, 0.0196610, 1.04446] == pytest.approx(READINGS.mean(axis=0), abs=5e-7)
    assert (0.0032, 9.5e-6, 0.00075) == (round(u[0], 4), round(u[1], 7), round(u[2], 5))
    assert (-0.36, 0.86, -0.65) == tuple(round(float(each), 2) for each in (r[0, 1], r[0, 2], r[1, 2]))


def test_values_of_the_gum_example_agree_to_every_printed_digit() -> None:
    """Table H.3: R 127.732, X 219.847, Z 254.260 ohm; u 0.071, 0.295 and 0.236 ohm (printed from rounded inputs).

    Without rounding on the way u is 0.0711, 0.2956 and 0.2363: within a printed digit.
    """
    found = h2()

    assert [127.732, 219.847, 254.260] == pytest.approx(found.values, abs=5e-4)
    assert [0.071, 0.295, 0.236] == pytest.approx(found.uncertainties, abs=1e-3)


def test_correlations_of_the_gum_example_agree_to_every_printed_digit() -> None:
    """Table H.3: r(R, X) -0.588, r(R, Z) -0.485, r(X, Z) 0.993."""
    r = h2().correlation

    assert [-0.588, -0.485, 0.993] == pytest.approx([r[0, 1], r[0, 2], r[1, 2]], abs=5e-4)


def test_values_of_the_gum_example_agree_in_full() -> None:
    """Against an independent computation with unrounded inputs, to nine digits."""
    found = h2()

    assert [127.73216992810208, 219.84651191263848, 254.25970194801894] == pytest.approx(found.values, rel=1e-12)
    assert [0.07107140739699543, 0.29558167735864405, 0.23633613008237758] == pytest.approx(
        found.uncertainties, rel=1e-9
    )
    r = found.correlation
    wanted = [-0.5884297844235161, -0.48525922420992756, 0.9925116489490166]
    assert wanted == pytest.approx([r[0, 1], r[0, 2], r[1, 2]], rel=1e-9)


def test_second_approach_of_the_gum_example_agrees() -> None:
    """H.2.4, table H.4: each reading computed, then the mean: 127.732, 219.847, 254.260 ohm; 0.071, 0.295, 0.236."""
    each = np.array([impedance(row) for row in READINGS])
    means, u = each.mean(axis=0), each.std(axis=0, ddof=1) / math.sqrt(len(each))

    assert [127.7316304828154, 219.84689460329236, 254.26004958674116] == pytest.approx(means, rel=1e-12)
    assert [0.071, 0.295, 0.236] == pytest.approx(u, abs=5e-4)


def test_full_correlation_takes_a_common_gain_out_of_a_quotient() -> None:
    """Two readings of one meter: what they share drops out (GUM 5.2.2, note 1)."""
    one = np.ones((2, 2))
    found = propagate(lambda x: np.array([x[0] / x[1], x[0] + x[1]]), np.array([6.0, 2.0]), np.array([0.06, 0.02]), one)

    assert [0.0, 0.08] == pytest.approx(found.uncertainties, abs=1e-7)


@pytest.mark.parametrize(
    ("uncertainties", "correlation"),
    [
        ([0.1], np.eye(2)),
        ([0.1, 0.1], np.eye(3)),
        ([0.1, -0.1], np.eye(2)),
        ([0.1, 0.1], np.array([[1.0, 2.0], [2.0, 1.0]])),
    ],
    ids=["one missing", "too large", "negative", "beyond one"],
)
def test_what_is_no_correlation_is_refused(uncertainties: list[float], correlation: np.ndarray) -> None:
    """Shapes that do not fit, a negative uncertainty, a coefficient beyond one."""
    with pytest.raises(ValueError, match="correlation"):
        propagate(lambda x: x, np.array([1.0, 2.0]), np.array(uncertainties), correlation)


@pytest.mark.parametrize(
    "terms",
    [
        (Term("a", 1.0, shape=Shape.RECTANGULAR),),
        (Term("a", 3.0, shape=Shape.RECTANGULAR), Term("b", 1.0)),
        (Term("a", 3.0, shape=Shape.RECTANGULAR), Term("b", 2.0, shape=Shape.RECTANGULAR), Term("c", 0.5, 10.0)),
    ],
    ids=["one rectangle", "rectangle and normal", "two rectangles"],
)
def test_monte_carlo_agrees_with_the_stated_uncertainty(terms: tuple[Term, ...]) -> None:
    """To 1 %: its own spread is 0.4 %, and further rectangles count as normal (see `core.uncertainty`)."""
    found = simulate_terms(terms)

    assert expanded_uncertainty(terms) == pytest.approx(found.expanded_uncertainty, rel=0.01)
    assert combine(terms)[0] == pytest.approx(found.standard_uncertainty, rel=0.02)


def test_monte_carlo_of_the_end_gauge_shows_what_few_degrees_of_freedom_do() -> None:
    """H.1: all terms normal, U99 is 2.576 x 31.71 nm; the GUM says 93 nm with 16 degrees of freedom.

    Drawn as JCGM 101, 6.4.9 says, the term with two degrees of freedom has tails that make it far wider.
    """
    normal = [Term(each.name, each.standard_uncertainty) for each in END_GAUGE]
    plain = simulate_terms(normal, coverage=0.99).expanded_uncertainty
    drawn = simulate_terms(END_GAUGE, coverage=0.99).expanded_uncertainty

    assert 2.5758 * 31.7105 == pytest.approx(plain, rel=0.01)
    assert drawn > 93.0


def test_same_seed_gives_the_same_digits() -> None:
    """And another one does not."""
    terms = (Term("a", 1.0, shape=Shape.RECTANGULAR),)

    assert simulate_terms(terms, draws=1000) == simulate_terms(terms, draws=1000)
    assert simulate_terms(terms, draws=1000) != simulate_terms(terms, draws=1000, seed=2)


def test_monte_carlo_without_terms_is_refused() -> None:
    """There is nothing to draw."""
    with pytest.raises(ValueError, match="needs terms and draws"):
        simulate_terms(())
