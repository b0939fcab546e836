"""One root of a monotone function by bisection: slow, and never wrong."""

from collections.abc import Callable


def bisect(rising: Callable[[float], bool], low: float, high: float, *, steps: int = 100) -> tuple[float, float]:
    """Return the ends of the last interval: `rising` is False at the first, True at the second.

    `rising` must turn from False to True once between `low` and `high`; it is not asked at the two ends.
    """
    for _ in range(steps):
        middle = low + (high - low) / 2.0
        if middle in (low, high):
            break
        low, high = (low, middle) if rising(middle) else (middle, high)
    return low, high
