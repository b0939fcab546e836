"""A plug pulled and put in again: the next unit is measured, unless another instrument answers."""

import pytest

from drivers.errors import LinkOpenError, WrongInstrument
from sim.bench import FIXTURE, LCR, SOURCE, THERMOMETER
from sim.faults import Fault, FaultKind
from station.core.results import Decision
from tests.end_to_end.shop import OpenShop, Shop

MENDABLE = (LCR, FIXTURE, THERMOMETER)
"""Instruments without which the drive's state is still known."""


def _some_way_in(shop: Shop, instrument: str) -> int:
    """Return a message index that is in the middle of the first run."""
    with shop.opened() as opened:
        before = opened.counts()[instrument][1]
        opened.measure(0)
        after = opened.counts()[instrument][1]
    return (before + after) // 2


@pytest.mark.parametrize("instrument", MENDABLE)
def test_plug_put_in_again_lets_the_next_unit_pass(shop: Shop, instrument: str) -> None:
    """One hang-up in a run: that run is INVALID, the bench opens the link anew before the next."""
    fault = Fault(instrument, FaultKind.HANG_UP_BEFORE, nth=_some_way_in(shop, instrument))
    with shop.opened(faults=(fault,)) as opened:
        decisions = [opened.measure(0).decision, opened.measure(1).decision]

    assert [Decision.INVALID, Decision.PASS] == decisions


@pytest.mark.parametrize("instrument", MENDABLE)
def test_plug_left_out_refuses_each_scan_before_anybody_loads(shop: Shop, instrument: str) -> None:
    """Nothing is loaded, no run is opened; the message names the instrument."""
    fault = Fault(instrument, FaultKind.HANG_UP_BEFORE, nth=_some_way_in(shop, instrument), for_good=True)
    with shop.opened(faults=(fault,)) as opened:
        opened.measure(0)
        loaded = opened.sim.world.unit
        for index in (1, 2):
            with pytest.raises(LinkOpenError, match=instrument):
                opened.measure(index)

    assert (opened.units[0].serial, []) == (
        loaded,
        [run for each in opened.units[1:] for run in shop.station.records.runs_of(each.serial)],
    )


@pytest.mark.parametrize("any_model", [False, True])
def test_other_instrument_at_the_same_plug_is_refused(shop: Shop, any_model: bool) -> None:
    """The run's record names who measured: another one of the same model is not the one on record."""
    place = _some_way_in(shop, LCR)
    with shop.opened() as opened:
        told = _told_by(opened, LCR)
    faults = (
        Fault(LCR, FaultKind.HANG_UP_BEFORE, nth=place),
        Fault(LCR, FaultKind.WRONG_IDENTITY, nth=told, data=b"INVENTED,LCR-A,LCRA002,1.0"),
    )
    with shop.opened(faults=faults, any_model=any_model) as opened:
        opened.measure(0)
        with pytest.raises(WrongInstrument, match="LCRA002"):
            opened.measure(1)


def test_source_that_went_between_runs_is_there_again_for_the_next(shop: Shop) -> None:
    """The source's line closes after its last message of a run: nobody sees it until the next, which passes."""
    with shop.opened() as opened:
        opened.measure(0)
        sent = opened.counts()[SOURCE][1]
    with shop.opened(faults=(Fault(SOURCE, FaultKind.HANG_UP_AFTER, nth=sent - 1),)) as opened:
        decisions = [opened.measure(0).decision, opened.measure(1).decision]

    assert [Decision.PASS, Decision.PASS] == decisions


@pytest.mark.parametrize("any_model", [False, True])
def test_other_source_at_the_same_plug_is_refused(shop: Shop, any_model: bool) -> None:
    """Opened anew by its own driver in the middle of a run, it is asked who it is before the next."""
    with shop.opened() as opened:
        told = opened.counts()[SOURCE][0]
    faults = (
        Fault(SOURCE, FaultKind.HANG_UP_BEFORE, nth=_some_way_in(shop, SOURCE)),
        Fault(SOURCE, FaultKind.WRONG_IDENTITY, nth=told, data=b"INVENTED,SRC-1,SRC1002,1.0"),
    )
    with shop.opened(faults=faults, any_model=any_model) as opened:
        opened.measure(0)
        with pytest.raises(WrongInstrument, match="SRC1002"):
            opened.measure(1)


def _told_by(opened: OpenShop, instrument: str) -> int:
    """Return how many messages the instrument has been told: the next one is the first of a run."""
    return opened.counts()[instrument][0]
