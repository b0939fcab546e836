"""From a list of terms to a standard and an expanded uncertainty (JCGM 100:2008, the GUM).

The coverage factor comes from the combined shape: the normal terms as one t distribution (GUM G.4), convolved
with the two largest rectangular terms exactly. So one dominant rectangular term gets its 1.65 and not 1.96.
Further rectangular terms count as normal. Against a Monte Carlo after JCGM 101 at most 1 % narrow and 2.5 %
wide. Called ten times a unit: no library but `math`.
"""

import math
from collections.abc import Iterable
from functools import lru_cache
from statistics import NormalDist

from station.core.results import Shape, Term

_ROOT_2 = math.sqrt(2.0)
_ROOT_3 = math.sqrt(3.0)
_ROOT_2_PI = math.sqrt(2.0 * math.pi)
_STANDARD_NORMAL = NormalDist()
_MANY = 200
"""Degrees of freedom from which the expansion of Student's factor serves."""
_SMALL = 0.05
"""A rectangular term below this share of the largest one counts as normal; error of the factor below 1e-4."""


def combine(terms: Iterable[Term]) -> tuple[float, float]:
    """Return the combined standard uncertainty and its effective degrees of freedom.

    GUM 5.1.2, terms taken as independent, and Welch-Satterthwaite, GUM G.4.1 (G.2b). No terms, a negative or
    non-finite one, or degrees of freedom below 1 raise ValueError: a result without uncertainty is none.
    """
    checked = tuple(terms)
    if not checked:
        raise ValueError("an uncertainty needs at least one term; got none")
    squares = fourths = 0.0
    for term in checked:
        u = term.standard_uncertainty
        if not (u >= 0.0 and math.isfinite(u) and term.degrees_of_freedom >= 1.0):
            raise ValueError(
                f"term {term.name!r} must be finite, not negative and have 1 degree of freedom or more; "
                f"got {u} with {term.degrees_of_freedom}"
            )
        square = u * u
        squares += square
        fourths += square * square / term.degrees_of_freedom
    return math.sqrt(squares), (squares * squares / fourths if fourths > 0.0 else math.inf)


def expanded_uncertainty(terms: Iterable[Term], *, coverage: float = 0.95) -> float:
    """Return U such that +-U holds `coverage` of the combined distribution; in the unit of the terms.

    With normal terms only this is GUM G.4: k u with k from t at the effective degrees of freedom, truncated
    to an integer. Rectangular terms: see the module. Raises ValueError as `combine` does.
    """
    checked = tuple(terms)
    u, _ = combine(checked)
    if u == 0.0:
        return 0.0
    wide = sorted((t.standard_uncertainty for t in checked if t.shape is Shape.RECTANGULAR), reverse=True)
    # The two largest are convolved exactly, if they are large enough to matter.
    exact = [each for each in wide[:2] if each >= _SMALL * u]
    rest = math.fsum(each * each for each in wide[len(exact) :])
    t_part = _t_part([t for t in checked if t.shape is not Shape.RECTANGULAR], coverage)
    spread = math.sqrt(t_part * t_part + rest)
    if not exact:
        return _normal_factor(coverage) * spread
    halves = [_ROOT_3 * each for each in exact]
    if len(halves) == 1 and spread < 1e-4 * halves[0]:
        return coverage * math.hypot(halves[0], 3.0 * spread)
    return _solve(halves, max(spread, 1e-4 * halves[0]), coverage)


def _t_part(terms: list[Term], coverage: float) -> float:
    """Standard deviation of the normal distribution whose quantile is that of the combined t part."""
    if not terms:
        return 0.0
    u, freedom = combine(terms)
    if math.isinf(freedom):
        return u
    return u * student_factor(math.floor(freedom * (1 + 1e-9)), coverage=coverage) / _normal_factor(coverage)


@lru_cache(maxsize=64)
def _normal_factor(coverage: float) -> float:
    return _STANDARD_NORMAL.inv_cdf(0.5 + coverage / 2.0)


def _solve(halves: list[float], spread: float, coverage: float) -> float:
    """Newton from below: the distribution function is concave there, so it never overshoots."""
    share = _one_rectangle if len(halves) == 1 else _two_rectangles
    total = math.sqrt(spread * spread + sum(half * half for half in halves) / 3.0)
    x = 0.999 * total * min(_ROOT_3 * coverage, _normal_factor(coverage))
    for _ in range(50):
        within, density = share(x, spread, halves)
        step = (coverage - within) / density
        x += step
        if abs(step) < 1e-7 * total:
            break
    return x


def _one_rectangle(x: float, s: float, halves: list[float]) -> tuple[float, float]:
    """Share within +-x, and its derivative, for a normal (s) convolved with a rectangular term (+-a)."""
    (a,) = halves
    high, low = (x + a) / s, (x - a) / s
    phi_high, phi_low = math.erf(high / _ROOT_2), math.erf(low / _ROOT_2)
    bells = math.exp(-0.5 * high * high) - math.exp(-0.5 * low * low)
    integral = (high * phi_high - low * phi_low) / 2.0 + bells / _ROOT_2_PI
    return s * integral / a, (phi_high - phi_low) / (2.0 * a)


def _two_rectangles(x: float, s: float, halves: list[float]) -> tuple[float, float]:
    """Share within +-x, and its derivative: a normal (s) convolved with two rectangular terms (+-a, +-b)."""
    a, b = halves
    within = density = 0.0
    for shift, sign in ((a + b, 1.0), (a - b, -1.0), (b - a, -1.0), (-a - b, 1.0)):
        z = (x + shift) / s
        half_phi = math.erf(z / _ROOT_2) / 2.0
        bell = math.exp(-0.5 * z * z) / _ROOT_2_PI
        within += sign * ((z * z + 1.0) * half_phi + z * bell) / 2.0
        density += sign * (z * half_phi + bell)
    scale = 4.0 * a * b
    return 2.0 * s * s * within / scale, 2.0 * s * density / scale


@lru_cache(maxsize=512)
def student_factor(freedom: int, *, coverage: float = 0.95) -> float:
    """Return the two-sided factor of Student's t: +-t holds `coverage` of the distribution.

    `freedom` is an integer of 1 or more (ValueError). By Newton's method from below, where it never overshoots,
    on the closed form of Abramowitz and Stegun (1964), 26.7.3 and 26.7.4; from 200 on, where that form is long,
    by their expansion 26.7.5, off by less than 1e-9 there.
    """
    if freedom < 1:
        raise ValueError(f"degrees of freedom must be 1 or more; got {freedom}")
    if freedom >= _MANY:
        return _expanded_factor(_normal_factor(coverage), freedom)
    t = _normal_factor(coverage)
    for _ in range(100):
        step = (coverage - _student_share(t, freedom)) / (2.0 * _student_density(t, freedom))
        t += step
        if abs(step) < 1e-13 * t:
            break
    return t


def _expanded_factor(x: float, freedom: int) -> float:
    """Student's factor from the normal one, x (Abramowitz and Stegun, 26.7.5)."""
    terms = (
        (x**3 + x) / 4.0,
        (5.0 * x**5 + 16.0 * x**3 + 3.0 * x) / 96.0,
        (3.0 * x**7 + 19.0 * x**5 + 17.0 * x**3 - 15.0 * x) / 384.0,
        (79.0 * x**9 + 776.0 * x**7 + 1482.0 * x**5 - 1920.0 * x**3 - 945.0 * x) / 92160.0,
    )
    return x + sum(term / freedom**power for power, term in enumerate(terms, start=1))


def _student_density(t: float, freedom: int) -> float:
    ratio = math.exp(math.lgamma((freedom + 1) / 2.0) - math.lgamma(freedom / 2.0))
    return ratio / math.sqrt(freedom * math.pi) * (1.0 + t * t / freedom) ** (-(freedom + 1) / 2.0)


def _student_share(t: float, freedom: int) -> float:
    theta = math.atan(t / math.sqrt(freedom))
    sine, cosine = math.sin(theta), math.cos(theta)
    odd = freedom % 2 == 1
    term = total = cosine if odd else 1.0
    if freedom == 1:
        total = 0.0
    for i in range(3 if odd else 2, freedom - 1, 2):
        term *= cosine * cosine * (i - 1) / i
        total += term
    return 2.0 / math.pi * (theta + sine * total) if odd else sine * total
