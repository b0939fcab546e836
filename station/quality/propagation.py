"""Propagation of uncertainty where a list of independent terms does not serve: correlated inputs, odd shapes.

By the law of propagation (JCGM 100:2008, the GUM, 5.2.2) and by Monte Carlo (JCGM 101:2008).
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from station.core.results import Shape, Term

DRAWS = 200_000
"""Gives a 95 % interval to about 0.4 % of its width (JCGM 101, 7.2.1, asks for more than 10^4 / (1 - p))."""


@dataclass(frozen=True, slots=True, eq=False)
class Propagated:
    """Outputs of a model: values and standard uncertainties, shape (m,); correlation matrix, shape (m, m)."""

    values: np.ndarray
    uncertainties: np.ndarray
    correlation: np.ndarray


@dataclass(frozen=True, slots=True)
class Simulated:
    """A Monte Carlo of a sum of terms: standard uncertainty, and half the probabilistically symmetric interval."""

    standard_uncertainty: float
    expanded_uncertainty: float
    draws: int


def propagate(
    model: Callable[[np.ndarray], np.ndarray], values: np.ndarray, uncertainties: np.ndarray, correlation: np.ndarray
) -> Propagated:
    """Return a model's outputs with their uncertainties and correlations: V = J C J^T (GUM 5.2.2, H.2.3).

    Derivatives by a complex step, exact to rounding (Squire and Trapp 1998): the model takes and gives complex
    arrays and is made of analytic functions.

    Args:
        model: from inputs, shape (n,), to outputs, shape (m,).
        values: of the inputs, shape (n,).
        uncertainties: standard ones, 0 or more, shape (n,).
        correlation: shape (n, n), symmetric, ones in its diagonal.

    Raises:
        ValueError: shapes that do not fit, or no correlation matrix.
    """
    _check_correlation(values, uncertainties, correlation)
    step = 1e-30
    columns = []
    for place in range(values.size):
        shifted = values.astype(complex)
        shifted[place] += 1j * step
        columns.append(np.imag(model(shifted)) / step)
    jacobian = np.array(columns).T
    covariance = jacobian @ (correlation * np.outer(uncertainties, uncertainties)) @ jacobian.T
    found = np.sqrt(np.diag(covariance))
    scale = np.where(found > 0.0, found, 1.0)
    return Propagated(np.real(model(values.astype(complex))), found, covariance / np.outer(scale, scale))


def _check_correlation(values: np.ndarray, uncertainties: np.ndarray, correlation: np.ndarray) -> None:
    count = values.size
    if values.shape != (count,) or uncertainties.shape != (count,) or correlation.shape != (count, count):
        raise ValueError(
            f"{count} values need as many uncertainties and a square of correlations; got "
            f"{uncertainties.shape} and {correlation.shape}"
        )
    proper = np.allclose(correlation, correlation.T) and np.allclose(np.diag(correlation), 1.0)
    if not proper or np.linalg.eigvalsh(correlation).min() < -1e-9 or uncertainties.min() < 0.0:
        raise ValueError("a correlation matrix is symmetric, has ones in its diagonal and no negative eigenvalue")


def simulate_terms(
    terms: Sequence[Term], *, coverage: float = 0.95, draws: int = DRAWS, seed: int = 1
) -> Simulated:
    """Return the sum of independent terms as a Monte Carlo gives it (JCGM 101:2008, 5.9 and 7.7).

    Rectangular terms by 6.4.2, normal ones by 6.4.7, those of finite degrees of freedom as a scaled and shifted
    t distribution by 6.4.9: its standard deviation is larger than the stated uncertainty, and infinite at two
    degrees of freedom or less, so the interval is what to look at. The same seed gives the same digits.

    Raises ValueError without terms or draws.
    """
    if not terms or draws < 1:
        raise ValueError(f"a Monte Carlo needs terms and draws; got {len(terms)} and {draws}")
    generator = np.random.default_rng(seed)
    total = np.zeros(draws)
    for term in terms:
        total += term.standard_uncertainty * _unit_draws(term, generator, draws)
    low, high = np.quantile(total, [0.5 - coverage / 2.0, 0.5 + coverage / 2.0])
    return Simulated(float(total.std(ddof=1)), float(high - low) / 2.0, draws)


def _unit_draws(term: Term, generator: np.random.Generator, draws: int) -> np.ndarray:
    if term.shape is Shape.RECTANGULAR:
        return math.sqrt(3.0) * generator.uniform(-1.0, 1.0, draws)
    if math.isinf(term.degrees_of_freedom):
        return generator.standard_normal(draws)
    return generator.standard_t(term.degrees_of_freedom, draws)
