"""Yield as a share with its interval, and which reasons cost the most."""

from collections.abc import Mapping
from dataclasses import dataclass

from station.quality.factors import share_interval
from station.quality.readings import StudyDataError


@dataclass(frozen=True, slots=True)
class Yield:
    """A share of units with two intervals: exact (Clopper-Pearson, never too short) and Wilson's (right on average)."""

    population: str
    passed: int
    of: int
    fraction: float
    exact: tuple[float, float]
    wilson: tuple[float, float]
    level: float


@dataclass(frozen=True, slots=True)
class ReasonShare:
    """One bar of a Pareto chart."""

    reason: str
    units: int
    share: float
    cumulative: float


def yield_of(passed: int, of: int, *, population: str, level: float = 0.95) -> Yield:
    """Return `passed` / `of` with its intervals. Raises StudyDataError without units or for impossible counts."""
    if not 0 <= passed <= of or of < 1:
        raise StudyDataError(f"a yield needs one unit or more, and not more passed than units; got {passed} of {of}")
    return Yield(
        population,
        passed,
        of,
        passed / of,
        share_interval(passed, of, level=level),
        wilson_interval(passed, of, level=level),
        level,
    )


def wilson_interval(count: int, of: int, *, level: float = 0.95) -> tuple[float, float]:
    """Return Wilson's score interval of a share (J. Am. Stat. Assoc. 22, 1927)."""
    from scipy.special import ndtri

    z = float(ndtri(0.5 + level / 2.0))
    share, square = count / of, z * z / of
    centre = (share + square / 2.0) / (1.0 + square)
    half = z * (share * (1.0 - share) / of + square / (4.0 * of)) ** 0.5 / (1.0 + square)
    # The ends are exact at no unit and at all units; arithmetic would leave a crumb.
    return (0.0 if count == 0 else centre - half), (1.0 if count == of else centre + half)


def pareto(units_by_reason: Mapping[str, int]) -> tuple[ReasonShare, ...]:
    """Return the reasons, most units first (then by name), with shares of all that are counted here.

    A unit counts for each of its reasons, so that the shares are of reasons, not of units.
    """
    total = sum(units_by_reason.values())
    bars: list[ReasonShare] = []
    so_far = 0
    for reason, units in sorted(units_by_reason.items(), key=lambda item: (-item[1], item[0])):
        if units > 0:
            so_far += units
            bars.append(ReasonShare(reason, units, units / total, so_far / total))
    return tuple(bars)
