"""A stop asked for at any message of a run: not measured, drive off, and the next unit right."""

import pytest

from drivers.stop import Stopped
from sim.world import World
from tests.end_to_end.shop import Countdown, Shop, code_of

EVERY = 11
NEVER = 1_000_000

HANDS_S = 5.0
"""Lets the operator's hands finish what they were told before the stop."""


@pytest.mark.slow
def test_stop_at_any_message_ends_in_invalid_with_drive_off(shop: Shop, every_point: bool) -> None:
    """Before the run: nothing was measured. In the run: INVALID, stopped. After the last check: as measured."""
    wrong: list[str] = []
    _, last = _stop_at(shop, NEVER)
    for at in range(0, last, 1 if every_point else EVERY):
        found, _ = _stop_at(shop, at)
        wrong.extend(f"at {at}: {each}" for each in found)

    assert (True, []) == (last > 200, wrong)


def _stop_at(shop: Shop, at: int) -> tuple[list[str], int]:
    """Return what is wrong, and how many messages and waits the whole way has."""
    stop = shop.station.stop
    countdown = Countdown(at, lambda: stop.set("a test says so"))
    wrong: list[str] = []
    with shop.opened(hook=countdown) as opened:
        before = opened.measure(0)
        countdown.start()
        try:
            record = opened.measure(1)
        except Stopped:
            # In the wait for the unit: no run was opened.
            if shop.station.records.runs_of(opened.units[1].serial):
                wrong.append("stopped out of an open run")
        else:
            wrong.extend(opened.wrong_values(record))
            measured = record.decision == before.decision and code_of(record) == ""
            if not measured and code_of(record) != "stopped":
                wrong.append(f"{record.decision} {record.reason}")
            if not record.drive_off_verified:
                wrong.append("off was not verified")
        if opened.sim.world.drive.on or opened.sim.world.mishaps:
            wrong.append(f"drive {opened.sim.world.drive.on}, {opened.sim.world.mishaps}")
        stop.clear()
        countdown.end()
        opened.place.clock.sleep(HANDS_S)
        after = opened.measure(2)
        wrong.extend(opened.wrong_values(after))
        if after.decision != before.decision:
            wrong.append(f"the next unit was {after.decision} {after.reason}")
    return wrong, countdown.calls


def test_stop_in_the_middle_of_a_drive_is_told_as_such(shop: Shop) -> None:
    """The reason on record says that the run was stopped by hand."""
    stop = shop.station.stop
    worlds: list[World] = []

    def stop_if_driven() -> None:
        if worlds and worlds[0].drive.on:
            stop.set("a test says so")

    with shop.opened(hook=stop_if_driven) as opened:
        worlds.append(opened.sim.world)
        record = opened.measure(0)
        stop.clear()

    assert ("stopped", True, False) == (
        code_of(record),
        record.drive_off_verified,
        opened.sim.world.drive.on,
    )
