"""Rules that wait: the plateau rule that most benches use, and the end of a full soak."""

from dataclasses import dataclass

import numpy as np

from station.heating_fit.responses import FloatArray

PLATEAU_WINDOW_S = 10.0
PLATEAU_CHANGE_K = 0.15
"""Stop when the mean of this window has moved by less than that since the window before (common practice, no
source; IEC 60034-1, 3.25 has 1 K per half hour for machines, far slower than a small coil)."""

END_WINDOW_S = 10.0
"""The end of a full soak is read as the mean over so long."""


@dataclass(frozen=True, slots=True)
class SettledRise:
    """`rise_k` at the end of a soak with its standard uncertainty; `still_k` is what it may still have to go."""

    rise_k: float
    standard_uncertainty_k: float
    still_k: float


def plateau_stop_s(times_s: FloatArray, rises_k: FloatArray) -> float:
    """Return when the plateau rule stops, in s; the last time if it never does. Arrays of shape (n,)."""
    step_s = float(np.median(np.diff(times_s)))
    width = max(2, round(PLATEAU_WINDOW_S / step_s))
    if len(rises_k) < 2 * width:
        return float(times_s[-1])
    sums = np.concatenate([[0.0], np.cumsum(rises_k)])
    means = (sums[width:] - sums[:-width]) / width
    settled = np.nonzero(np.abs(means[width:] - means[:-width]) < PLATEAU_CHANGE_K)[0]
    return float(times_s[settled[0] + 2 * width - 1]) if len(settled) else float(times_s[-1])


def end_of_soak(times_s: FloatArray, rises_k: FloatArray, *, slowest_s: float) -> SettledRise:
    """Return the rise at the end of a soak, from its last `END_WINDOW_S`. Arrays of shape (n,).

    What may be left to go is the last two windows' slope times `slowest_s`: exact for one exponential.

    Raises:
        ValueError: the curve is shorter than two windows.
    """
    end_s = times_s[-1]
    last = rises_k[times_s > end_s - END_WINDOW_S]
    before = rises_k[(times_s > end_s - 2 * END_WINDOW_S) & (times_s <= end_s - END_WINDOW_S)]
    if end_s - times_s[0] < 2 * END_WINDOW_S or len(last) < 3 or len(before) < 3:
        raise ValueError(f"a full soak needs at least {2 * END_WINDOW_S:g} s of readings")
    noise = float(np.std(last, ddof=1)) / np.sqrt(len(last))
    slope = float(last.mean() - before.mean()) / END_WINDOW_S
    # A slope that is no more than noise says nothing about what is left.
    beyond_noise = max(0.0, abs(slope) * END_WINDOW_S - 2 * np.sqrt(2.0) * noise) / END_WINDOW_S
    return SettledRise(float(last.mean()), noise, beyond_noise * slowest_s)
