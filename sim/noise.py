"""Numbers that look random and are a pure function of their key.

Noise is keyed by (seed, unit, channel, index), never drawn from a shared stream: a repeated query or another
order of calls moves no other reading, and a run can be repeated to the last digit.
"""

from hashlib import blake2b
from statistics import NormalDist

_MASK = (1 << 64) - 1
_GOLDEN = 0x9E3779B97F4A7C15
_NORMAL = NormalDist()


def key(*parts: str | int | float) -> int:
    """Return a 64-bit number that depends on every part and on nothing else (not on the process)."""
    text = "\x1f".join(map(str, parts))
    return int.from_bytes(blake2b(text.encode(), digest_size=8).digest(), "big")


def uniform(key_: int, index: int = 0) -> float:
    """Return a number in (0, 1), the `index`-th of `key_`.

    SplitMix64's finaliser (Steele, Lea, Flood 2014, "Fast splittable pseudorandom number generators"): quick,
    and well mixed for neighbouring indices.
    """
    z = (key_ + (index + 1) * _GOLDEN) & _MASK
    z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & _MASK
    z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & _MASK
    z ^= z >> 31
    return ((z >> 11) + 0.5) * 2.0**-53


def normal(key_: int, index: int = 0) -> float:
    """Return a standard normal number, the `index`-th of `key_`."""
    return _NORMAL.inv_cdf(uniform(key_, index))


class NoiseSource:
    """Hands out the next standard normal number of each (unit, channel)."""

    def __init__(self, seed: int) -> None:
        self.seed = seed
        self._channels: dict[tuple[str, str], list[int]] = {}

    def next(self, unit: str, channel: str) -> float:
        """Return the next number of this unit and channel; other channels do not move it."""
        state = self._channels.get((unit, channel))
        if state is None:
            state = self._channels[unit, channel] = [key(self.seed, unit, channel), 0]
        state[1] += 1
        return normal(state[0], state[1])
