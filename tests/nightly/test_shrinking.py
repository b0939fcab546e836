"""A failing night is shrunk to the mishaps that it needs."""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.nightly.script import script_of
from station.nightly.shrinking import shortest, shrink
from tests.nightly.nights import short


def _needs(*wanted: int) -> Callable[[tuple[int, ...]], bool]:
    return lambda numbers: set(wanted) <= set(numbers)


@given(st.sets(st.integers(1, 40), min_size=0, max_size=5))
def test_exactly_what_is_needed_is_left(wanted: set[int]) -> None:
    """Whatever the needed mishaps are among forty: they are found, in order, and nothing else."""

    assert tuple(sorted(wanted)) == shortest(range(1, 41), _needs(*wanted))


@given(st.sets(st.sets(st.integers(1, 20), min_size=1, max_size=3).map(frozenset), min_size=1, max_size=4))
def test_nothing_of_what_is_left_can_be_left_out(ways: set[frozenset[int]]) -> None:
    """Several ways to fail: one of them remains, and it needs each of its mishaps."""

    def fails(numbers: tuple[int, ...]) -> bool:
        return any(way <= set(numbers) for way in ways)

    left = shortest(range(1, 21), fails)

    assert fails(left)
    assert not any(fails(tuple(each for each in left if each != one)) for one in left)


def _judged_units_are_taken_again(patch: pytest.MonkeyPatch) -> None:
    patch.setattr("station.inspection._require_free", lambda unit, state, request: None)


@pytest.mark.slow
def test_planted_mistake_is_shrunk_to_one_mishap(monkeypatch: pytest.MonkeyPatch) -> None:
    """Judged units taken again: of all mishaps one double scan is enough, and it is found twice alike."""
    scenario = short("operators", 10)
    _judged_units_are_taken_again(monkeypatch)
    first, second = (shrink(scenario, 1, "double_scans_taken") for _ in range(2))

    assert first is not None
    assert first == second
    assert (["double_scan"], True) == ([each.act for each in first.mishaps], first.minimal)
    assert first.of == len(script_of(scenario, 1).mishaps)
    assert f"Replay: coilgate nightly replay operators 1 --only {first.mishaps[0].number}" in str(first)


@pytest.mark.slow
def test_sound_night_has_nothing_to_shrink() -> None:
    """A figure within its bound: None, after one night."""

    assert shrink(short("operators", 4), 1, "double_scans_taken") is None


@pytest.mark.slow
def test_bounded_shrinking_tells_what_it_has_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three nights are too few: what is left still fails, and is not called minimal."""
    _judged_units_are_taken_again(monkeypatch)
    found = shrink(short("operators", 10), 1, "double_scans_taken", most_nights=3)

    assert found is not None
    assert (3, False) == (found.nights, found.minimal)
    assert 1 < len(found.mishaps) < found.of
