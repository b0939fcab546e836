"""Over how many of its cycles a fixture averages."""

from itertools import count

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.fixture_line import fixture_cycles


@pytest.mark.parametrize(
    ("mains_cycles", "mains_hz", "cycles"),
    [(1, 50.0, 1), (2, 50.0, 2), (100, 50.0, 100), (1, 60.0, 5), (2, 60.0, 5), (7, 60.0, 10), (1, 50.2, 1)],
)
def test_field_is_averaged_over_whole_cycles_of_the_mains(mains_cycles: int, mains_hz: float, cycles: int) -> None:
    """A fixture made for 50 Hz (20 ms) takes five of its cycles for six of 60 Hz: 0.1 s holds both."""
    assert cycles == fixture_cycles(mains_cycles, mains_hz, 0.02)


@given(st.integers(1, 100), st.floats(40.0, 70.0), st.sampled_from([0.02, 1 / 60]))
def test_averaging_is_long_enough_and_no_worse_than_none(mains_cycles: int, mains_hz: float, cycle_s: float) -> None:
    """At least the cycles asked for, and as near to whole ones as the fewest counts that hold them, or nearer."""

    def held(counts: int) -> float:
        return counts * cycle_s * mains_hz

    def miss(counts: int) -> float:
        return abs(held(counts) - round(held(counts)))

    found = fixture_cycles(mains_cycles, mains_hz, cycle_s)
    fewest = next(each for each in count(1) if held(each) >= mains_cycles - 1e-6)

    assert fewest <= found < fewest + 26
    assert miss(found) <= max(0.01, miss(fewest)) + 1e-6
