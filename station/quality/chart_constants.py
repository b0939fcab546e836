"""Factors of control charts for subgroups of n normal values (ISO 7870-2, table 2; ASTM E2587, table 1)."""

import math
from dataclasses import dataclass
from functools import lru_cache

from station.quality.ranges import range_moments
from station.quality.within import c4


@dataclass(frozen=True, slots=True)
class ChartConstants:
    """Unrounded factors; the names are the standard's."""

    size: int
    d2: float
    d3: float
    c4: float
    A2: float
    A3: float
    B3: float
    B4: float
    D3: float
    D4: float


@lru_cache(maxsize=64)
def chart_constants(size: int) -> ChartConstants:
    """Return the factors for subgroups of `size`. Raises ValueError below 2."""
    d2, d3 = range_moments(size)
    s = c4(size)
    spread = 3.0 * math.sqrt(1.0 - s * s) / s
    root = math.sqrt(size)
    return ChartConstants(
        size=size,
        d2=d2,
        d3=d3,
        c4=s,
        A2=3.0 / (d2 * root),
        A3=3.0 / (s * root),
        B3=max(0.0, 1.0 - spread),
        B4=1.0 + spread,
        D3=max(0.0, 1.0 - 3.0 * d3 / d2),
        D4=1.0 + 3.0 * d3 / d2,
    )
