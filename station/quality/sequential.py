"""Charts with a memory, for small shifts: exponentially weighted moving average and cumulative sum (ISO 7870-4, -6)."""

from dataclasses import dataclass

import numpy as np

from station.quality.charts import Chart
from station.quality.readings import StudyDataError
from station.quality.run_rules import RunRule, Signal
from station.quality.sample import Sample

USUAL_WEIGHT = 0.2
USUAL_WIDTH = 2.962
"""With a weight of 0.2: about one false alarm in 500 points (Lucas and Saccucci 1990)."""

USUAL_DECISION, USUAL_REFERENCE = 5.0, 0.5
"""h and k in standard deviations: about one false alarm in 465 points, a shift of one seen after 10 (ISO 7870-4)."""


@dataclass(frozen=True, slots=True, eq=False)
class CumulativeSums:
    """Upper and lower sums, shape (N,), both from 0 up, in the values' unit, and where they pass `decision`."""

    upper: np.ndarray
    lower: np.ndarray
    target: float
    reference: float
    decision: float
    signals: tuple[int, ...]
    population: str


def moving_average_chart(
    sample: Sample,
    deviation: float,
    *,
    target: float | None = None,
    weight: float = USUAL_WEIGHT,
    width: float = USUAL_WIDTH,
    steady: bool = False,
) -> Chart:
    """Return the chart of z_i = weight x_i + (1 - weight) z_(i-1), z_0 = target (ISO 7870-6; Roberts 1959).

    Args:
        sample: single values or subgroup means, in order.
        deviation: standard deviation of such a value, in its unit.
        target: None: the mean of the values.
        weight: above 0, up to 1.
        width: half width of the limits in standard deviations of z.
        steady: True: the limits of many points; False: those of point i, 1 - (1 - weight)^(2i).

    Raises StudyDataError for a weight or deviation out of range.
    """
    if not 0.0 < weight <= 1.0 or not deviation > 0.0:
        raise StudyDataError(f"needs a weight above 0 up to 1 and a deviation above 0; got {weight}, {deviation}")
    centre = float(sample.values.mean()) if target is None else target
    points = np.empty(sample.size)
    last = centre
    for i, value in enumerate(sample.values.tolist()):
        last += weight * (value - last)
        points[i] = last
    grown = 1.0 if steady else 1.0 - (1.0 - weight) ** (2.0 * np.arange(1, sample.size + 1))
    reach = width * deviation * np.sqrt(weight / (2.0 - weight) * grown) * np.ones(sample.size)
    line = np.full(sample.size, centre)
    out = np.flatnonzero(np.abs(points - centre) > reach)
    return Chart(
        "moving averages",
        points,
        line,
        line - reach,
        line + reach,
        tuple(Signal(int(i), RunRule.BEYOND_LIMITS) for i in out),
        None,
        sample.population,
        sample.unit_symbol,
    )


def cumulative_sums(sample: Sample, *, target: float, reference: float, decision: float) -> CumulativeSums:
    """Return the sums of what goes beyond target +- reference, never below 0 (ISO 7870-4, tabular form).

    `reference` (K, half the shift to find) and `decision` (H) are in the values' unit. The sums are not set back
    after a signal. Raises StudyDataError for a negative reference or a decision that is not above 0.
    """
    if reference < 0.0 or not decision > 0.0:
        raise StudyDataError(f"needs a reference of 0 or more and a decision above 0; got {reference}, {decision}")
    upper, lower = np.empty(sample.size), np.empty(sample.size)
    high = low = 0.0
    for i, value in enumerate(sample.values.tolist()):
        high = max(0.0, high + value - target - reference)
        low = max(0.0, low + target - reference - value)
        upper[i], lower[i] = high, low
    out = np.flatnonzero((upper > decision) | (lower > decision))
    return CumulativeSums(upper, lower, target, reference, decision, tuple(map(int, out)), sample.population)
