"""Where the sensor really stood: height offset and lateral error fitted from a field profile.

The drawing says how the field falls with height. A profile that falls as if it stood higher, or off the
axis, tells so: B_i = s (b_i + b'_i d + c_i r^2), with s the coil's strength, d the height offset, r the
distance off the axis; b' and c are the drawing's own derivatives. Linear least squares in (s, s d, s r^2),
weighted with each point's noise. Good for offsets small against the height (checked to a tenth of it).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

_STEP_M = 20e-6
_LATERAL_STEP_M = 0.3e-3
FEWEST_HEIGHTS = 3
_LEAST = 1e-12


@dataclass(frozen=True, slots=True)
class ProfileFit:
    """`strength` is 1 for a coil that is as drawn; lengths in m, each with its standard uncertainty."""

    strength: float
    height_offset_m: float
    height_offset_uncertainty_m: float
    lateral_squared_m2: float
    lateral_squared_uncertainty_m2: float

    @property
    def lateral_m(self) -> float:
        """Distance off the axis in m; 0 where the fit gives a negative square."""
        return max(0.0, self.lateral_squared_m2) ** 0.5


@dataclass(frozen=True, slots=True)
class DesignProfile:
    """The drawing's field at the plan's heights: T/A, T/A/m, T/A/m^2."""

    per_ampere: tuple[float, ...]
    per_height: tuple[float, ...]
    per_lateral_squared: tuple[float, ...]


@lru_cache(maxsize=64)
def design_profile(
    design_field: Callable[[float, float], float], heights_m: tuple[float, ...]
) -> DesignProfile:
    """Return the drawing's field and its derivatives by central differences. Kept: each unit asks the same.

    Args:
        design_field: flux density per ampere in T/A at (height_m, lateral_m).
        heights_m: heights over the top copper, in m.
    """
    values = tuple(design_field(each, 0.0) for each in heights_m)
    slopes = tuple(
        (design_field(each + _STEP_M, 0.0) - design_field(each - _STEP_M, 0.0)) / (2 * _STEP_M)
        for each in heights_m
    )
    curvatures = tuple(
        (design_field(each, _LATERAL_STEP_M) - value) / _LATERAL_STEP_M**2
        for each, value in zip(heights_m, values, strict=True)
    )
    return DesignProfile(values, slopes, curvatures)


def fit_profile(
    design: DesignProfile, per_ampere: Sequence[float], uncertainties: Sequence[float]
) -> ProfileFit:
    """Fit strength, height offset and lateral error to measured fields.

    Args:
        per_ampere: measured flux density per ampere at the design's heights, T/A, shape (n,), n >= 3.
        uncertainties: standard uncertainty of each, independent parts only, T/A, shape (n,).

    Raises:
        ValueError: fewer than three heights.
    """
    if len(per_ampere) < FEWEST_HEIGHTS:
        raise ValueError(f"a profile needs {FEWEST_HEIGHTS} heights or more; got {len(per_ampere)}")
    columns = np.array([design.per_ampere, design.per_height, design.per_lateral_squared])
    weighted = (columns / np.asarray(uncertainties)).T
    # Columns differ by many powers of ten (T/A against T/A/m^2): scaled to unit length before solving.
    lengths = np.sqrt((weighted * weighted).sum(axis=0))
    left, sizes, right = np.linalg.svd(weighted / lengths, full_matrices=False)
    sizes = np.maximum(sizes, sizes[0] * _LEAST)  # a profile that can't tell: a huge doubt, and never NaN
    solution = (left.T @ (np.asarray(per_ampere) / uncertainties) / sizes) @ right
    strength, height, lateral = solution / lengths
    deviations = np.sqrt(((right.T / sizes) ** 2).sum(axis=1)) / lengths
    return ProfileFit(
        strength=float(strength),
        height_offset_m=float(height / strength),
        height_offset_uncertainty_m=float(deviations[1] / abs(strength)),
        lateral_squared_m2=float(lateral / strength),
        lateral_squared_uncertainty_m2=float(deviations[2] / abs(strength)),
    )
