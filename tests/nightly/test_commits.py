"""A run is put on record when its bench is safe, and not before: the watch at the commits."""

import pytest

from drivers.clock import ManualClock
from sim.world import Route, World
from station.nightly.commits import BEGUN, COMMITTED, CommitWatch


def _recorded(world: World, *, seconds: float = 0.0) -> str:
    """Return what the watch says of a run that is put on record now, taking `seconds` on the manual clock."""
    watch, clock = CommitWatch(), ManualClock()
    watch.look_at(world, clock)
    watch(BEGUN)
    clock.sleep(seconds)
    watch(COMMITTED)
    return watch.words


def test_safe_bench_has_nothing_to_say() -> None:
    """Drive off, route open, no time between."""

    assert not _recorded(World())


def test_drive_on_open_route_or_time_passing_is_told() -> None:
    """Each by itself."""
    driven, routed = World(), World()
    driven.switch(on=True)
    routed.connect_route(Route.LCR)

    assert "with the drive on" in _recorded(driven)
    assert "route LCR" in _recorded(routed)
    assert "measured while" in _recorded(World(), seconds=0.1)


@pytest.mark.parametrize("point", [BEGUN, COMMITTED])
def test_watch_without_a_world_is_silent(point: str) -> None:
    """Records are opened before the bench is made."""
    watch = CommitWatch()
    watch(point)

    assert not watch.words
