"""Mains hum: what a meter that averages over a fixed time leaves of it, beating with the mains' own frequency.

Over whole cycles hum averages to nothing. Mains is never exactly what the meter's clock takes it for, and where it is
60 Hz a meter made for 50 Hz averages over 1.2 cycles for each of its own.
"""

from dataclasses import dataclass
from math import pi, sin


@dataclass(frozen=True, slots=True)
class Hum:
    """What the mains puts on readings, as amplitudes; none unless said.

    Not imitated: harmonics, hum on the AC measurement of the LCR meter (its detector is locked to 100 kHz), on
    voltage and current of the source.
    """

    mains_hz: float = 50.0
    field_t: float = 0.0
    lcr_dc: float = 0.0
    """On DC resistance, relative to the reading."""


NO_HUM = Hum()


def averaged_hum(mains_hz: float, end_s: float, seconds: float) -> float:
    """Return the mean of sin(2 pi f t) over the `seconds` before `end_s`: sin(x)/x sin(2 pi f t_middle), x = pi f T.

    The integral of a sine over a window; in closed form. `seconds` must be above 0.
    """
    half = pi * mains_hz * seconds
    return sin(half) / half * sin(2.0 * pi * mains_hz * (end_s - 0.5 * seconds))
