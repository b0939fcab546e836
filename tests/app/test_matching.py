"""Matched sets on record: two who record at once never put one unit into two sets."""

import threading
from dataclasses import replace
from pathlib import Path

import pytest

from station.app.lot_life import close_part, hold_lot, receive_lot, scrap_units
from station.app.matching import candidates, propose, record_sets, sets_on_record
from station.core.results import Decision
from station.core.run_record import RunOpened, UnitId
from station.errors import RecordError
from station.records import Records
from tests.cli.lots import record_lot
from tests.records.makers import START, make_opened, make_record

TOLERANCES = (("R20", "1 %"),)


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A lot of 96 units."""
    record_lot(tmp_path / "home", "L2641", 1)
    return tmp_path / "home"


@pytest.mark.slow
def test_two_writers_never_put_a_unit_into_two_sets(home: Path) -> None:
    """Six look at the same free units, then all record at once: one succeeds, the others are told why not."""
    with Records.open(home) as first:
        units = candidates(first, ["L2641"], TOLERANCES)
    found, told = propose(units, 3), list[str]()
    together = threading.Barrier(6)

    def record() -> None:
        with Records.open(home) as records:
            together.wait()
            try:
                record_sets(records, units, found, who="EN-02", why="test", utc=START)
            except RecordError as error:
                told.append(str(error))

    threads = [threading.Thread(target=record) for _ in range(6)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    with Records.open(home) as records:
        used = [serial for members in sets_on_record(records).values() for serial in members]

    assert 3 * len(found.sets) == len(used) == len(set(used))
    assert 5 == len([each for each in told if "no longer free for a set" in each])


def test_unit_measured_again_since_it_was_matched_is_refused(home: Path) -> None:
    """It passes as before, but with another value: the set would not agree."""
    with Records.open(home) as records:
        units = candidates(records, ["L2641"], TOLERANCES)
        found = propose(units, 3)
        serial = units.serials[found.sets[0][0]]
        runs = records.runs_of(serial)
        opened = make_opened(serial, panel="01", repeats_run_id=runs[-1].run_id)
        place = records.run(runs[-1].run_id).opened.unit
        again = _at(opened, place)
        records.open_run(again)
        records.close_run(make_record(again, r20_ohm=9.1, decision=Decision.PASS, results=3))
        with pytest.raises(RecordError, match=f"{serial} was measured again meanwhile"):
            record_sets(records, units, found, who="EN-02", why="test", utc=START)

        assert {} == sets_on_record(records)


def _at(opened: RunOpened, place: UnitId) -> RunOpened:
    return replace(opened, unit=place)


def test_scrapped_and_shipped_units_are_never_in_a_set(home: Path) -> None:
    """They passed once; nobody can put them together any more. A held lot gives no sets at all."""
    with Records.open(home) as records:
        every = candidates(records, ["L2641"], TOLERANCES).serials
        receive_lot(records, "L2641", 96, who="EN-02", utc=START)
        scrap_units(records, "L2641", every[:2], who="EN-02", why="broke", utc=START)
        close_part(records, "L2641", {"1": 1}, serials=every[2:3], who="EN-02", utc=START)
        left = candidates(records, ["L2641"], TOLERANCES).serials
        hold_lot(records, "L2641", who="EN-02", why="etch", utc=START)
        with pytest.raises(RecordError, match="lot L2641 is held: etch"):
            candidates(records, ["L2641"], TOLERANCES)

    assert every[3:] == left
