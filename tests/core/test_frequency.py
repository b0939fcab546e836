"""How often a method is due."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.core.frequency import frequency_words, is_due, parse_frequency
from station.core.plan import Frequency, FrequencyKind

frequencies = st.builds(Frequency, st.sampled_from(FrequencyKind), st.integers(1, 999_999)).map(
    lambda each: Frequency() if each.kind is FrequencyKind.EVERY else each
)


@pytest.mark.parametrize(
    ("text", "kind", "n"),
    [
        ("every unit", FrequencyKind.EVERY, 1),
        ("1 in 25", FrequencyKind.ONE_IN, 25),
        ("1  in 25 units", FrequencyKind.ONE_IN, 25),
        ("first 5", FrequencyKind.FIRST_OFF, 5),
        ("first 5 of each lot", FrequencyKind.FIRST_OFF, 5),
        ("first 2 of each panel", FrequencyKind.PER_PANEL, 2),
    ],
)
def test_parse_frequency(text: str, kind: FrequencyKind, n: int) -> None:
    """The forms that a plan may use."""
    assert Frequency(kind, n) == parse_frequency(text)


@pytest.mark.parametrize(
    "text", ["", "1 in 0", "first 0", "2 in 25", "always", "1 in 25.5", "1 in -3", "every panel"]
)
def test_parse_frequency_says_what_would_be_right(text: str) -> None:
    """Anything else is refused with the forms that are right."""
    with pytest.raises(ValueError, match="'1 in 25'"):
        parse_frequency(text)


@given(frequency=frequencies)
def test_words_are_read_back(frequency: Frequency) -> None:
    """What people are shown can be put into a plan."""
    assert frequency == parse_frequency(frequency_words(frequency))


def due_positions(text: str, *, panel: bool = False) -> list[int]:
    """The positions from 1 to 60 at which a method is due."""
    frequency = parse_frequency(text)
    return [
        n for n in range(1, 61) if is_due(frequency, position_in_lot=60 if panel else n, position_in_panel=n)
    ]


def test_is_due_counts_from_the_first_unit() -> None:
    """1 in 25 takes the first unit and then every 25th."""
    assert [1, 26, 51] == due_positions("1 in 25")
    assert [1, 2, 3] == due_positions("first 3")
    assert [1, 2] == due_positions("first 2 of each panel", panel=True)
    assert 60 == len(due_positions("every unit"))


def test_is_due_when_the_panel_is_not_known() -> None:
    """Measuring too much is safe."""
    assert is_due(Frequency(FrequencyKind.PER_PANEL, 2), position_in_lot=500)


@pytest.mark.parametrize(("lot", "panel"), [(0, 1), (1, 0), (-1, None)])
def test_is_due_refuses_positions_below_one(lot: int, panel: int | None) -> None:
    """A count from zero would shift every frequency by one."""
    with pytest.raises(ValueError, match="count from 1"):
        is_due(Frequency(), position_in_lot=lot, position_in_panel=panel)
