"""What a held or closed lot means at the bench: the scan is refused with words, and no run is lost."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from station.app.lot_life import close_lot, hold_lot, lot_now, receive_lot, release_lot, reopen_lot, scrap_units
from station.core.events import Event, RunStarted
from station.core.results import Decision
from station.core.run_record import Purpose
from station.errors import SerialError
from station.records import Records
from tests.end_to_end.shop import REQUEST, Shop
from tests.records.makers import START

LOT, FIRST = "L0000", "L0000-01-A01"
Act = Callable[[Records], object]


def hold(records: Records) -> None:
    """Hold the lot."""
    hold_lot(records, LOT, who="EN-02", why="tests", utc=START)


def release(records: Records) -> None:
    """Release it."""
    release_lot(records, LOT, who="EN-02", why="tests", utc=START)


def close(records: Records) -> None:
    """Close the lot, with nothing measured of it."""
    close_lot(records, LOT, {"unmeasured": 2}, who="EN-02", utc=START)


def reopen(records: Records) -> None:
    """Reopen it."""
    reopen_lot(records, LOT, who="EN-02", why="tests", utc=START)


def scrap(records: Records) -> None:
    """Scrap its first unit."""
    scrap_units(records, LOT, [FIRST], who="EN-02", why="tests", utc=START)


@pytest.mark.parametrize(
    ("act", "undo", "words"),
    [
        (hold, release, f"lot {LOT} is held: tests. Set {FIRST} aside"),
        (close, reopen, f"lot {LOT} is closed. Set {FIRST} aside and call the engineer"),
        (scrap, None, f"{FIRST} is scrapped. Put it into the scrap box"),
    ],
)
def test_scan_is_refused_before_anybody_loads(tmp_path: Path, act: Act, undo: Act | None, words: str) -> None:
    """Nothing is loaded and no run opened; undone by the engineer, the unit is measured."""
    with Shop(tmp_path / "home") as shop, shop.opened() as opened:
        records = shop.station.records
        receive_lot(records, LOT, 2, who="EN-02", utc=START)
        act(records)
        with pytest.raises(SerialError) as caught:
            opened.measure(0)

        assert words in str(caught.value)
        assert ("empty", []) == (opened.sim.world.unit, records.runs_of(FIRST))
        if undo is not None:
            undo(records)
            assert Decision.PASS is opened.measure(0).decision


def test_engineer_may_measure_units_of_a_closed_lot(tmp_path: Path) -> None:
    """To look into what came back; it counts for nothing."""
    with Shop(tmp_path / "home") as shop, shop.opened() as opened:
        receive_lot(shop.station.records, LOT, 2, who="EN-02", utc=START)
        close(shop.station.records)
        opened.measure(0, request=replace(REQUEST, purpose=Purpose.ENGINEERING))

        assert () == lot_now(shop.station.records, LOT).since_closing


def test_run_under_way_is_recorded_though_the_lot_was_closed_meanwhile(tmp_path: Path) -> None:
    """Never a lost record: the run ends as it would, and the lot shows that it has changed since."""
    with Shop(tmp_path / "home") as shop, shop.opened() as opened:
        records = shop.station.records
        receive_lot(records, LOT, 2, who="EN-02", utc=START)

        def tell(event: Event) -> None:
            if isinstance(event, RunStarted):
                close(records)

        opened.inspection.tell = tell
        record = opened.measure(0)
        changed = {each.place: (each.recorded, each.counted) for each in lot_now(records, LOT).since_closing}

        assert Decision.PASS is record.decision
        assert record == records.run(record.opened.run_id)
        assert {"unmeasured": (2, 1), str(record.bin_number): (0, 1)} == changed
