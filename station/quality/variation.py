"""Variances of a gauge study by source, and what is said about them.

Sources, in AIAG's letters: repeatability EV, reproducibility AV and INT together, the gauge (repeatability and
reproducibility) GRR, part PV, total TV. ISO 22514-7 writes u_EVO, u_AV, u_IA for the standard deviations of the
first three.

Convention: per cents of study variation and of tolerance are **by standard deviation** (AIAG), so they do not add
up to 100; shares are by variance, and do. The tolerance is set against 6 standard deviations.
"""

import math
from dataclasses import dataclass

TOLERANCE_MULTIPLE = 6.0
"""Standard deviations that are set against the tolerance (AIAG MSA, 4th edition; 5.15 in earlier ones)."""

CATEGORIES_FACTOR = 1.41
"""ndc = 1.41 PV / GRR: AIAG prints and uses the rounded root of 2."""


@dataclass(frozen=True, slots=True)
class Variation:
    """Variances by source, in the square of the readings' unit; none negative."""

    repeatability: float
    appraiser: float
    interaction: float
    part: float

    @property
    def reproducibility(self) -> float:
        """Appraiser and interaction."""
        return self.appraiser + self.interaction

    @property
    def gauge(self) -> float:
        """Repeatability and reproducibility together."""
        return self.repeatability + self.reproducibility

    @property
    def total(self) -> float:
        """Gauge and part."""
        return self.gauge + self.part


def by_source(variation: Variation) -> dict[str, float]:
    """Return the variances by the name of their source."""
    return {
        "repeatability_and_reproducibility": variation.gauge,
        "repeatability": variation.repeatability,
        "reproducibility": variation.reproducibility,
        "appraiser": variation.appraiser,
        "interaction": variation.interaction,
        "part": variation.part,
        "total": variation.total,
    }


def standard_deviations(variation: Variation) -> dict[str, float]:
    """Return the standard deviations by source, in the readings' unit."""
    return {name: math.sqrt(variance) for name, variance in by_source(variation).items()}


def percent_of_variance(variation: Variation) -> dict[str, float]:
    """Return each source's share of the total variance in per cent; repeatability, reproducibility, part add up."""
    return {name: 100.0 * each / variation.total for name, each in by_source(variation).items()}


def percent_of_study_variation(variation: Variation) -> dict[str, float]:
    """Return 100 x standard deviation / total standard deviation, by source (AIAG %EV, %AV, %GRR, %PV)."""
    total = math.sqrt(variation.total)
    return {name: 100.0 * each / total for name, each in standard_deviations(variation).items()}


def percent_of_tolerance(variation: Variation, tolerance: float) -> dict[str, float]:
    """Return 100 x 6 x standard deviation / tolerance, by source. `tolerance` is the width, above 0."""
    if not (tolerance > 0.0 and math.isfinite(tolerance)):
        raise ValueError(f"a tolerance must be a finite width above 0; got {tolerance}")
    factor = 100.0 * TOLERANCE_MULTIPLE / tolerance
    return {name: factor * each for name, each in standard_deviations(variation).items()}


def categories(variation: Variation) -> float:
    """Return the number of distinct categories, not yet truncated: 1.41 PV / GRR (AIAG)."""
    return CATEGORIES_FACTOR * math.sqrt(variation.part / variation.gauge)


def distinct_categories(unrounded: float) -> int:
    """Return the number of distinct categories: truncated, 1 at least (one category: parts can't be told apart)."""
    return max(1, math.floor(unrounded))
