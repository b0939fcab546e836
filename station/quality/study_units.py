"""Which units of a lot a gauge study should have: spread as the lot is, so that its study variation is production's.

One unit from the middle of each share of the lot, by rank: ten are those at the 5th, 15th, ... 95th per cent.
Extreme ones would make any gauge look fine, ones that are alike make any gauge look coarse.
"""

from collections.abc import Sequence

LEAST_UNITS = 2


def units_over_spread(values: Sequence[float], count: int) -> tuple[int, ...]:
    """Return the places in `values` of `count` units that spread as all do, in order of value.

    Raises ValueError for fewer than 2 units, and for fewer values than that.
    """
    if count < LEAST_UNITS or len(values) < count:
        raise ValueError(f"{count} units are to be chosen, {LEAST_UNITS} at least; got {len(values)} values")
    by_value = sorted(range(len(values)), key=lambda place: (values[place], place))
    return tuple(by_value[(2 * share + 1) * len(values) // (2 * count)] for share in range(count))
