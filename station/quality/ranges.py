"""Ranges of small normal samples: the factors between a mean range and a standard deviation."""

from functools import lru_cache

import numpy as np

_MANY = 15
"""Above so many samples AIAG's forms take d2 for d2* (MSA, 4th edition, appendix C)."""


@lru_cache(maxsize=64)
def range_moments(size: int) -> tuple[float, float]:
    """Return mean d2 and standard deviation d3 of the range of `size` standard normal values.

    By integration of the distribution of the range (Tippett 1925): P(R <= r) = n int phi(x) [Phi(x + r) -
    Phi(x)]^(n-1) dx, E R = int (1 - P), E R^2 = 2 int r (1 - P). Good to 1e-9. Raises ValueError below 2.
    """
    from scipy.special import ndtr

    if size < 2:
        raise ValueError(f"a range needs two values or more; got {size}")
    nodes, weights = np.polynomial.legendre.leggauss(120)
    top = 14.0
    r = (nodes + 1.0) * top / 2.0
    w = weights * top / 2.0
    x = np.linspace(-9.0, 9.0, 721)
    bell = np.exp(-0.5 * x * x) / np.sqrt(2.0 * np.pi) * (x[1] - x[0])
    within = size * ((ndtr(x + r[:, None]) - ndtr(x)) ** (size - 1) @ bell)
    beyond = 1.0 - within
    mean = float(w @ beyond)
    square = float(2.0 * (w * r) @ beyond)
    return mean, float(np.sqrt(square - mean * mean))


def range_factor(size: int, groups: int) -> float:
    """Return K = 1 / d2*, rounded to four digits as AIAG prints it: standard deviation = K x mean range.

    d2*^2 = d2^2 + d3^2 / groups (Duncan 1986, Patnaik's approximation); d2 alone above 15 groups. Printed in
    the AIAG report form as K1 (trials), K2 (appraisers), K3 (parts); older editions multiply by 5.15.
    """
    d2, d3 = range_moments(size)
    square = d2 * d2 + (d3 * d3 / groups if groups <= _MANY else 0.0)
    return round(1.0 / float(np.sqrt(square)), 4)
