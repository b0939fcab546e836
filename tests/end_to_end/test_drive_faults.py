"""A drive that can't be switched off, relays that stick, orders that are lost: told, latched, and never a PASS."""

import pytest

from sim.bench import FIXTURE, SOURCE
from sim.faults import Fault, FaultKind
from station.core.results import Decision
from station.errors import BenchError
from tests.end_to_end.shop import OpenShop, Shop, code_of

OFF, ON, ROUTE, ALIVE, STATE = "OUTP 0", "OUTP 1", " ROUTE ", " ALIVE", " STATE"
SENT_AT_OPENING = 1
"""Orders `OUTP 0` that opening the bench sends; so the first one of the first run has this index."""


def test_one_lost_off_is_ordered_again_and_verified(shop: Shop) -> None:
    """A single lost order does no harm: off is ordered anew, and the run is good."""
    fault = Fault(SOURCE, FaultKind.COMMAND_LOST, nth=SENT_AT_OPENING + 1, matching=OFF)
    with shop.opened(faults=(fault,)) as opened:
        record = opened.measure(0)
        struck = _struck(opened, SOURCE)

    assert ([fault], Decision.PASS, [], False) == (
        struck,
        record.decision,
        opened.wrong_values(record),
        opened.sim.world.drive.on,
    )


@pytest.mark.parametrize("kind", [FaultKind.COMMAND_LOST, FaultKind.STUCK, FaultKind.SILENT])
def test_drive_that_stays_on_latches_the_bench_and_cuts_the_coil(shop: Shop, kind: FaultKind) -> None:
    """The run is INVALID, drive not off; the route is opened; the next scan is refused, also after a restart."""
    # The second one of a run comes with the drive on (the first before the meter is connected); all from then.
    fault = Fault(SOURCE, kind, nth=_first_off_while_driven(shop), matching=OFF, times=0)
    with shop.opened(faults=(fault,)) as opened:
        record = opened.measure(0)
        with pytest.raises(BenchError, match="drive state unknown"):
            opened.measure(1)
        world = opened.sim.world

    assert (Decision.INVALID, "drive_not_off", False, True, 0.0) == (
        record.decision,
        code_of(record),
        record.drive_off_verified,
        world.drive.on,
        world.coil_current_a,
    )
    assert [] == [each for each in shop.station.records.runs_of(record.opened.unit.serial) if not each.decision]


def test_latch_that_a_person_has_cleared_lets_the_next_unit_pass(shop: Shop) -> None:
    """Somebody looked at the source and said who he is and why: then off is verified anew, and work goes on."""
    first = _first_off_while_driven(shop)
    # Three orders to end the drive, three to make the bench safe; then the source hears again.
    fault = Fault(SOURCE, FaultKind.COMMAND_LOST, nth=first, matching=OFF, times=6)
    with shop.opened(faults=(fault,)) as opened:
        spoilt = opened.measure(0)
        opened.bench.clear_latch(who="EN-01", why="looked at the source: off")
        record = opened.measure(1)

    assert (Decision.INVALID, Decision.PASS, [], False) == (
        spoilt.decision,
        record.decision,
        opened.wrong_values(record),
        opened.sim.world.drive.on,
    )


@pytest.mark.parametrize("matching", [ROUTE, ALIVE, STATE, " FIELD ", " CONTACT", " HEIGHT "])
def test_lost_order_to_the_fixture_is_never_a_wrong_number(shop: Shop, matching: str) -> None:
    """Whichever of its kind is lost: nothing was measured; the drive is off; the next unit passes."""
    decisions: list[str] = []
    wrong: list[str] = []
    for nth in range(1 if matching == STATE else 0, 8):  # the bench asks for one state when it is opened
        fault = Fault(FIXTURE, FaultKind.COMMAND_LOST, nth=nth, matching=matching)
        with shop.opened(faults=(fault,)) as opened:
            try:
                record = opened.measure(0)
            except Exception as error:  # before a run was open, in the wait for the unit
                decisions.append(type(error).__name__)
                opened.place.clock.sleep(5.0)
            else:
                decisions.append(record.decision.value)
                wrong.extend(opened.wrong_values(record))
            if not _struck(opened, FIXTURE):
                decisions.pop()
                break
            after = opened.measure(1)
            wrong.extend(opened.wrong_values(after))
            if after.decision is not Decision.PASS or opened.sim.world.drive.on or opened.sim.world.mishaps:
                wrong.append(f"{nth}: {after.reason} {opened.sim.world.mishaps}")

    assert (True, []) == (set(decisions) <= {"INVALID", "LinkTimeout"} and bool(decisions), wrong)


@pytest.mark.parametrize("at", range(0, 12))
def test_relay_that_sticks_at_any_route_never_gives_a_wrong_number(shop: Shop, at: int) -> None:
    """From the route on that it sticks at nothing is measured, whatever the fixture reports."""
    fault = Fault(FIXTURE, FaultKind.STUCK, nth=at, matching=ROUTE)
    with shop.opened(faults=(fault,)) as opened:
        records = [opened.measure(0), opened.measure(1)]
        struck = _struck(opened, FIXTURE)
        wrong = [each for record in records for each in opened.wrong_values(record)]
        mishaps = opened.sim.world.mishaps

    assert ([], False, []) == (wrong, opened.sim.world.drive.on, mishaps)
    assert not struck or Decision.PASS not in {each.decision for each in records[1:]}
    assert Decision.FAIL not in {each.decision for each in records}


def _first_off_while_driven(shop: Shop) -> int:
    """Return the index, among all orders `OUTP 0`, of the first that comes with the drive on."""
    with shop.opened() as opened:
        opened.bench.begin_run()
        opened.measure(0)
        sent = [each.data for each in opened.bench.transcript() if each.instrument == SOURCE]
    driven = next(index for index, data in enumerate(sent) if ON.encode() in data)
    return SENT_AT_OPENING + sum(OFF.encode() in data for data in sent[:driven])


def _struck(opened: OpenShop, instrument: str) -> list[Fault]:
    return opened.sim.wrappers[instrument].struck
