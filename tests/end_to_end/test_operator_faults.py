"""What hands do wrong: scan twice, swap, unload, forget, mistake, warm, open, press; at any moment of a run."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import pytest

from sim.lot import truth_near
from station.app.hands import SimulatedHands
from station.core.events import Event, MethodStarted
from station.core.results import Decision
from station.core.run_record import RunRecord
from station.errors import NestBusy, SerialError
from station.inspection import Request
from tests.end_to_end.shop import REQUEST, Countdown, Shop, code_of

EVERY = 13
HANDS_S = 5.0
NEVER = 1_000_000
REPEAT = replace(REQUEST, repeat=True)

SPOILS: dict[str, tuple[tuple[str, ...], str]] = {
    "unloaded": (("UNLOAD",), ""),
    "swapped": (("UNLOAD", "LOAD {other}"), ""),
    "put back": (("UNLOAD", "LOAD {unit}"), ""),
    "guard opened": (("GUARD OPEN",), "GUARD CLOSED"),
    "hand stop pressed": (("HANDSTOP ON",), "HANDSTOP OFF"),
}
"""What the hands do in the middle of a run, and what puts it right."""


@dataclass(slots=True)
class WilfulHands:
    """Hands that load `loads` instead of what they are told, and may leave the nest as it is."""

    hands: SimulatedHands
    loads: str = ""
    idle: bool = False

    def unload(self) -> None:
        """Empty the nest, or not."""
        if not self.idle:
            self.hands.unload()

    def load(self, serial: str) -> None:
        """Load a unit, this one or another, or none."""
        if not self.idle:
            self.hands.load(self.loads or serial)

    def place_spacer(self, height_m: float) -> None:
        """Place a spacer."""
        self.hands.place_spacer(height_m)


@pytest.mark.slow
@pytest.mark.parametrize("spoil", SPOILS)
def test_hands_in_the_middle_of_a_run_never_give_a_wrong_number(shop: Shop, every_point: bool, spoil: str) -> None:
    """Whatever the moment: INVALID, or PASS if all was measured by then; drive off; the next unit right."""
    wrong: list[str] = []
    invalid = 0
    _, _, last = _spoil_at(shop, spoil, NEVER)
    for at in range(0, last, 1 if every_point else EVERY):
        record, found, _ = _spoil_at(shop, spoil, at)
        invalid += record.decision is Decision.INVALID
        wrong.extend(f"{spoil} at {at}: {each}" for each in found)

    assert (True, []) == (invalid > 5, wrong)


def _spoil_at(shop: Shop, spoil: str, at: int) -> tuple[RunRecord, list[str], int]:
    orders, remedy = SPOILS[spoil]
    units = shop.new_units(4)
    names = {"other": units[3].serial, "unit": units[1].serial}

    def act() -> None:
        for order in orders:
            opened.order(order.format(**names))

    countdown = Countdown(at, act)
    with shop.opened(units=units, hook=countdown) as opened:
        opened.measure(0)
        opened.inspection.tell = _at_run_start(countdown.start)
        record = opened.measure(1)
        countdown.end()
        opened.inspection.tell = lambda event: None
        wrong = opened.wrong_values(record)
        if record.decision is Decision.FAIL:
            wrong.append(f"FAIL of a good unit: {record.reason}")
        if record.decision is Decision.PASS and at < countdown.calls - LAST_CALLS:
            wrong.append("PASS")
        if opened.sim.world.drive.on or opened.sim.world.mishaps:
            wrong.append(f"drive {opened.sim.world.drive.on}, {opened.sim.world.mishaps}")
        if remedy:
            opened.order(remedy)
        opened.place.clock.sleep(HANDS_S)
        after = opened.measure(2)
        wrong.extend(opened.wrong_values(after))
        if after.decision is not Decision.PASS:
            wrong.append(f"the next unit was {after.decision} {after.reason}")
    return record, wrong, countdown.calls


LAST_CALLS = 30
"""Messages and waits after a run's last look at the nest, generously: what is done then comes too late."""


def _at_run_start(start: Callable[[], None]) -> Callable[[Event], None]:
    def tell(event: Event) -> None:
        if isinstance(event, MethodStarted) and event.index == 1:
            start()

    return tell


@pytest.mark.parametrize("method", ["contact", "resistance", "inductance", "field"])
@pytest.mark.parametrize("spoil", ["guard opened", "hand stop pressed"])
def test_interlock_at_the_start_of_a_method_is_told_by_its_name(shop: Shop, method: str, spoil: str) -> None:
    """The guard, or the hand stop, is what the operator reads; released, the next unit passes."""
    orders, remedy = SPOILS[spoil]
    with shop.opened() as opened:

        def tell(event: Event) -> None:
            if isinstance(event, MethodStarted) and event.method == method:
                opened.order(orders[0])

        opened.inspection.tell = tell
        record = opened.measure(0)
        opened.inspection.tell = lambda event: None
        opened.order(remedy)
        after = opened.measure(1)

    wanted = {"guard opened": "guard_open", "hand stop pressed": "hand_stop"}[spoil]

    assert (Decision.INVALID, wanted, False, []) == (
        record.decision,
        code_of(record),
        opened.sim.world.drive.on,
        opened.sim.world.mishaps,
    )
    assert Decision.PASS == after.decision


def test_second_scan_of_a_judged_unit_is_refused(shop: Shop) -> None:
    """A double scan measures nothing and puts nothing on record."""
    with shop.opened() as opened:
        first = opened.measure(0)
        with pytest.raises(SerialError, match="judged already"):
            opened.measure(0)

    runs = shop.station.records.runs_of(opened.units[0].serial)

    assert (Decision.PASS, 1) == (first.decision, len(runs))


def test_unit_that_is_not_changed_is_never_measured_as_the_next(shop: Shop) -> None:
    """The nest must be seen empty first: the unit before stays in it, and nothing is measured."""
    with shop.opened() as opened:
        opened.measure(0)
        opened.inspection.hands = WilfulHands(opened.place.hands, idle=True)
        with pytest.raises(NestBusy, match="not emptied"):
            opened.measure(1, request=Request("OP-07", load_timeout_s=30.0))

    assert [] == shop.station.records.runs_of(opened.units[1].serial)


def test_unit_that_is_not_loaded_is_refused_in_time(shop: Shop) -> None:
    """Nobody loads: the scan is given up, nothing is on record."""
    with shop.opened() as opened:
        opened.inspection.hands = WilfulHands(opened.place.hands, idle=True)
        with pytest.raises(NestBusy, match="not loaded"):
            opened.measure(0, request=Request("OP-07", load_timeout_s=30.0))

    assert [] == shop.station.records.runs_of(opened.units[0].serial)


def test_other_unit_in_a_repeat_is_held_because_results_disagree(shop: Shop) -> None:
    """A misload shows in the repeat: R20 and L are not the unit's. An engineer decides."""
    with shop.opened() as opened:
        first = opened.measure(0)
        opened.inspection.hands = WilfulHands(opened.place.hands, loads=opened.units[1].serial)
        again = opened.measure(0, request=REPEAT)

    assert (Decision.PASS, Decision.INVALID, "retest_disagrees", True) == (
        first.decision,
        again.decision,
        code_of(again),
        again.held,
    )


def test_right_unit_in_a_repeat_agrees_with_its_first_run(shop: Shop) -> None:
    """The control of the test above."""
    with shop.opened() as opened:
        opened.measure(0)
        again = opened.measure(0, request=REPEAT)

    assert (Decision.PASS, False) == (again.decision, again.held)


@pytest.mark.parametrize("warm_k", [0.5, 1.0, 2.0, 4.0, 8.0, 12.0, 20.0])
def test_hand_warmed_unit_reads_right_or_not_at_all(shop: Shop, warm_k: float) -> None:
    """A coil warmer than its thermometer says reads high: the wait until R holds still is what prevents it."""
    with shop.opened() as opened:
        opened.place.hands.warm(warm_k)
        record = opened.measure(0)
        after = opened.measure(1)

    assert ([], True) == (
        opened.wrong_values(record),
        record.decision is Decision.PASS or code_of(record) in ("not_still", "thermometers_disagree"),
    )
    assert (Decision.PASS, []) == (after.decision, opened.wrong_values(after))


def test_coil_that_does_not_cool_in_time_is_not_measured(shop: Shop) -> None:
    """A film that stays warm for minutes (thick holder) ends in INVALID, not still."""
    slow = replace(
        truth_near("", resistance_20_ohm=8.0),
        thermal=(replace(truth_near("").thermal[0], heat_capacity_j_per_k=5.0),),
    )
    with shop.opened(units=shop.new_units(1, like=(slow,))) as opened:
        opened.place.hands.warm(7.0)
        record = opened.measure(0)

    assert (Decision.INVALID, "not_still") == (record.decision, code_of(record))


@pytest.mark.parametrize(("pad_ohm", "code"), [(5.0, "contact_poor"), (float("inf"), "contact_open")])
@pytest.mark.parametrize("at_start", [True, False])
def test_poor_contact_is_never_the_units_fault(shop: Shop, at_start: bool, pad_ohm: float, code: str) -> None:
    """INVALID with a remedy; seated again the same unit passes."""
    good = truth_near("", resistance_20_ohm=8.0, inductance_h=11.6e-6)
    cured = replace(good, contact_cured_by_reseating=True)
    poor = replace(cured, contact_start_ohm=pad_ohm) if at_start else replace(cured, contact_end_ohm=pad_ohm)
    with shop.opened(units=shop.new_units(1, like=(poor,))) as opened:
        first = opened.measure(0)
        opened.place.hands.unload()
        again = opened.measure(0)

    assert (Decision.INVALID, code, Decision.PASS, []) == (
        first.decision,
        code_of(first),
        again.decision,
        opened.wrong_values(again),
    )
