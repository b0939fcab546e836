"""Crossed repeatability and reproducibility by average and range (AIAG MSA, 4th edition, chapter III-B, report form).

It sees no interaction. AIAG's printed example rounds between steps; nothing is rounded here but the K factors.
"""

from dataclasses import dataclass

import numpy as np

from station.quality.ranges import range_factor
from station.quality.readings import CrossedReadings
from station.quality.variation import Variation


@dataclass(frozen=True, slots=True)
class AverageRange:
    """What the report form asks for: mean range, largest difference of appraiser means, range of part means."""

    mean_range: float
    appraiser_difference: float
    part_range: float
    k1: float
    k2: float | None
    k3: float
    variation: Variation


def average_range(readings: CrossedReadings) -> AverageRange:
    """Return the study by average and range.

    EV = R K1, AV^2 = (X_diff K2)^2 - EV^2 / (parts trials) or 0 if negative, PV = R_p K3. One appraiser: AV = 0.
    """
    values = readings.values
    parts, appraisers, trials = values.shape
    mean_range = float(np.ptp(values, axis=2).mean())
    difference = float(np.ptp(values.mean(axis=(0, 2))))
    part_range = float(np.ptp(values.mean(axis=(1, 2))))
    k1, k3 = range_factor(trials, parts * appraisers), range_factor(parts, 1)
    k2 = range_factor(appraisers, 1) if appraisers > 1 else None
    repeatability = (mean_range * k1) ** 2
    appraiser = 0.0 if k2 is None else (difference * k2) ** 2 - repeatability / (parts * trials)
    variation = Variation(repeatability, max(0.0, appraiser), 0.0, (part_range * k3) ** 2)
    return AverageRange(mean_range, difference, part_range, k1, k2, k3, variation)
