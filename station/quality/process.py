"""How true values of units spread: the process that global risks are averaged over (JCGM 106, clause 6)."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np


class Process(Protocol):
    """A continuous distribution of true values; any frozen one of scipy.stats will do."""

    def pdf(self, x: np.ndarray, /) -> np.ndarray:
        """Return the density at `x`, same shape."""

    def cdf(self, x: float, /) -> float:
        """Return the share of units below `x`."""

    def ppf(self, q: float, /) -> float:
        """Return the value below which the share `q` lies."""


@dataclass(frozen=True, slots=True)
class NormalProcess:
    """True values spread normally about `mean` with standard deviation `deviation`, above 0."""

    mean: float
    deviation: float

    def __post_init__(self) -> None:
        """Refuse what is no spread: raises ValueError."""
        if not (math.isfinite(self.mean) and math.isfinite(self.deviation) and self.deviation > 0.0):
            raise ValueError(
                f"a process needs a finite mean and a standard deviation above 0; got {self.mean}, {self.deviation}"
            )

    def pdf(self, x: np.ndarray, /) -> np.ndarray:
        """Return the normal density at `x`."""
        z = (x - self.mean) / self.deviation
        return np.exp(-0.5 * z * z) / (self.deviation * math.sqrt(2.0 * math.pi))

    def cdf(self, x: float, /) -> float:
        """Return the share of units below `x`."""
        return 0.5 * math.erfc((self.mean - x) / (self.deviation * math.sqrt(2.0)))

    def ppf(self, q: float, /) -> float:
        """Return the value below which the share `q` lies."""
        from scipy.special import ndtri

        return self.mean + self.deviation * float(ndtri(q))


def process_of_measured(values: Sequence[float], standard_uncertainty: float) -> NormalProcess:
    """Return the normal process behind measured `values`: the measurement's own variance is taken off their spread.

    Raises ValueError for fewer than 30 values, or if the uncertainty explains the whole spread: then the readings
    say nothing about the process, and its standard deviation must be stated.
    """
    array = np.asarray(values, dtype=float)
    if array.size < 30 or not np.isfinite(array).all():
        raise ValueError(f"a process needs 30 finite measured values or more; got {array.size}")
    variance = float(array.var(ddof=1)) - standard_uncertainty**2
    if variance <= 0.0:
        raise ValueError(
            f"the uncertainty ({standard_uncertainty:g}) explains the whole spread of the values "
            f"({float(array.std(ddof=1)):g}): state the process's standard deviation instead"
        )
    return NormalProcess(float(array.mean()), math.sqrt(variance))
