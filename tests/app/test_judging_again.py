"""Stored runs judged again: what that means for units that lie in trays."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from station.app.judging_again import judge_lots_again
from station.app.sorting import place_by_hand
from station.core.plan_file import parse_plan
from station.records import LaterDecision, Records
from station.records.placings import tray_contents
from tests.app.judged_lot import measured, record_unit, release, serials
from tests.core.examples import changed
from tests.records.makers import START

UNITS = serials(3)


@pytest.fixture
def records(tmp_path: Path) -> Iterator[Records]:
    """Three units that pass, in a tray of good ones."""
    with Records.open(tmp_path) as found:
        release(found)
        for place, (serial, ohm) in enumerate(zip(UNITS, (7.5, 8.7, 8.9), strict=True), start=1):
            record_unit(found, serial, measured(ohm))
            place_by_hand(found, serial, "T7", place, who="OP-07", why="good", utc=START)
        yield found


def test_unit_that_passes_no_more_leaves_its_tray_on_record_and_that_is_told(records: Records) -> None:
    """It must not be picked from among good ones; who judged again hears where it lies."""
    narrow = parse_plan(changed(('upper = "9.2 ohm"', 'upper = "8.5 ohm"')), "narrow.toml")
    now = START + timedelta(days=2)
    records.release_plan(narrow, who="EN-02", why="narrower", utc=now)
    moved = judge_lots_again(records, narrow, ["L2641"], who="EN-02", why="narrower", utc=now)

    assert {UNITS[1]: "tray T7, pocket 2", UNITS[2]: "tray T7, pocket 3"} == {
        each.unit.serial: each.left for each in moved if each.left
    }
    assert [UNITS[0]] == [each.serial for each in tray_contents(records, "T7")]
    assert records.check().sound


def test_unit_that_is_held_while_others_are_judged_again_stays_with_whoever_holds_it(
    records: Records, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A lot takes seconds: what came in between counts."""
    narrow = parse_plan(changed(('upper = "9.2 ohm"', 'upper = "8.5 ohm"')), "narrow.toml")
    now = START + timedelta(days=2)
    records.release_plan(narrow, who="EN-02", why="narrower", utc=now)
    judged = records.judge_again

    def held_meanwhile(later: LaterDecision) -> int:
        if not records.is_held(UNITS[2]):
            records.hold(UNITS[2], reason_code="odd", who="EN-03", why="looks odd", utc=now)
        return judged(later)

    monkeypatch.setattr(records, "judge_again", held_meanwhile)
    moved = judge_lots_again(records, narrow, ["L2641"], who="EN-02", why="narrower", utc=now)

    assert [UNITS[1]] == [each.unit.serial for each in moved]
    assert () == records.later_decisions(records.runs_of(UNITS[2])[-1].run_id)
