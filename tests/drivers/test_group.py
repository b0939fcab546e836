"""Readings that one closing query proves together."""

from collections.abc import Callable

import pytest

from drivers.errors import InstrumentError, ReplyError
from drivers.group import Group


def failing() -> int:
    """Fail as a reading may."""
    raise ReplyError("lcr-1: garbled", received=b"")


def counting(said: list[str]) -> Group[int]:
    """Return a group of running numbers that says what it does."""
    return Group(lambda: said.append("take") or len(said), lambda: said.append("prove"))


def test_readings_are_handed_out_in_order_after_the_proof() -> None:
    """Nothing leaves before the closing query."""
    said: list[str] = []
    group = counting(said)
    group.take()
    group.take()

    assert (1, 2) == group.hand_out()
    assert ["take", "take", "prove"] == said


def test_action_goes_ahead_of_each_reading() -> None:
    """A guard is tended before each."""
    said: list[str] = []
    group = counting(said).tended_by(lambda: said.append("tend"))
    group.take()
    group.take()
    group.hand_out()

    assert ["tend", "take", "tend", "take", "prove"] == said


def test_failed_proof_hands_out_nothing_ever() -> None:
    """Asking again does not help."""
    group = Group(lambda: 1, failing)
    group.take()
    with pytest.raises(ReplyError):
        group.hand_out()
    with pytest.raises(InstrumentError, match="Start a new group"):
        group.hand_out()


@pytest.mark.parametrize("again", [Group.take, Group.hand_out])
def test_failed_reading_spoils_the_group(again: Callable[[Group[int]], object]) -> None:
    """What was taken before it is not handed out, and nothing is added."""
    readings = iter([lambda: 1, failing, lambda: 3])
    group = Group(lambda: next(readings)(), lambda: None)
    group.take()
    with pytest.raises(ReplyError):
        group.take()
    with pytest.raises(InstrumentError, match="Start a new group"):
        again(group)


def test_group_is_handed_out_once() -> None:
    """A group left over can't be taken for a new one."""
    group = Group(lambda: 1, lambda: None)
    group.take()
    group.hand_out()
    with pytest.raises(InstrumentError, match="Start a new group"):
        group.take()
