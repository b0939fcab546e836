"""Units into trays: who goes where, what a second measurement changes, and that nothing stops a run."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from station.app.sorting import Sorting, place_by_hand
from station.core.places import NOWHERE, Place
from station.core.plan import Plan
from station.core.plan_file import parse_plan
from station.core.results import Decision
from station.core.run_record import Purpose, RunRecord
from station.errors import RecordError, StationError
from station.records import LaterDecision, Records
from station.records.placings import placing_of, tray_contents
from tests.core.examples import IS_20_TEXT
from tests.records.makers import START, make_opened, make_record

PLAN = parse_plan(IS_20_TEXT, "IS-20.toml")
WITH_TRAYS = parse_plan(IS_20_TEXT + "[trays]\npockets = 2\n", "IS-20.toml")


@pytest.fixture
def home(tmp_path: Path) -> Iterator[Records]:
    """Empty records."""
    with Records.open(tmp_path) as records:
        yield records


def sorting(records: Records, *trays: str) -> Sorting:
    """A sorting with trays in use."""
    return Sorting(records, lambda: START, trays=trays)


def measured(
    records: Records,
    serial: str,
    *,
    decision: Decision = Decision.PASS,
    bin_number: int = 1,
    held: bool = False,
    purpose: Purpose = Purpose.PRODUCTION,
) -> RunRecord:
    """A run on record."""
    before = records.runs_of(serial)
    opened = make_opened(serial, purpose=purpose, repeats_run_id=before[-1].run_id if before else "")
    record = replace(make_record(opened, decision=decision, results=2, held=held), bin_number=bin_number)
    records.open_run(opened)
    records.close_run(record)
    return record


def placed(
    found: Sorting,
    records: Records,
    serial: str,
    *,
    plan: Plan = PLAN,
    decision: Decision = Decision.PASS,
    bin_number: int = 1,
    held: bool = False,
    purpose: Purpose = Purpose.PRODUCTION,
) -> Place:
    """Where a unit goes that was measured just now."""
    record = measured(records, serial, decision=decision, bin_number=bin_number, held=held, purpose=purpose)
    return found.place(record, plan)


def test_units_that_pass_fill_one_tray_pocket_by_pocket(home: Records) -> None:
    """Whatever their bin, if no bin has a tray of its own."""
    found = sorting(home, "T7")
    places = [placed(found, home, serial, bin_number=number) for serial, number in (("A", 1), ("B", 2), ("C", 3))]

    assert [Place("T7", 1), Place("T7", 2), Place("T7", 3)] == places
    assert "tray T7, pocket 3" == found.last.words


def test_bin_with_a_tray_of_its_own_counts_for_itself(home: Records) -> None:
    """The others go on in theirs."""
    found = sorting(home, "T7", "2=T8")
    places = [placed(found, home, serial, bin_number=number) for serial, number in (("A", 1), ("B", 2), ("C", 1))]

    assert [Place("T7", 1), Place("T8", 1), Place("T7", 2)] == places


@pytest.mark.parametrize(
    ("decision", "held", "purpose"),
    [
        (Decision.FAIL, False, Purpose.PRODUCTION),
        (Decision.PASS, True, Purpose.PRODUCTION),
        (Decision.INVALID, True, Purpose.PRODUCTION),
        (Decision.INVALID, False, Purpose.PRODUCTION),
        (Decision.INVALID, False, Purpose.ENGINEERING),
    ],
)
def test_only_good_units_go_into_the_tray_for_units_that_pass(
    home: Records, decision: Decision, held: bool, purpose: Purpose
) -> None:
    """FAIL, held, not measured, or not production: no pocket, nothing on record."""
    place = placed(sorting(home, "T7"), home, "A", decision=decision, held=held, purpose=purpose, bin_number=99)

    assert NOWHERE == place
    assert () == tray_contents(home, "T7")


def test_bin_of_failures_may_have_a_tray_but_never_one_of_good_units(home: Records) -> None:
    """The same tray given for both by slip is told, not filled."""
    found = sorting(home, "T7", "90=T7")
    placed(found, home, "A")
    wrong = placed(found, home, "B", decision=Decision.FAIL, bin_number=90)
    right = placed(sorting(home, "90=T9"), home, "C", decision=Decision.FAIL, bin_number=90)

    assert "never share a tray" in wrong.trouble
    assert Place("T9", 1) == right


def test_unit_measured_again_goes_back_into_its_pocket(home: Records) -> None:
    """Also into a tray that is in use no more."""
    placed(sorting(home, "T7"), home, "A")
    found = sorting(home, "T8")

    assert Place("T7", 1) == placed(found, home, "A")
    assert Place("T8", 1) == placed(found, home, "B")


def test_unit_that_passes_no_more_leaves_its_tray(home: Records) -> None:
    """It must not be picked from among good ones."""
    found = sorting(home, "T7")
    placed(found, home, "A")
    again = placed(found, home, "A", decision=Decision.FAIL, bin_number=90)

    assert NOWHERE == again
    assert placing_of(home, "A") is None
    assert () == tray_contents(home, "T7")


def test_full_tray_is_told_and_the_next_one_takes_the_unit(home: Records) -> None:
    """Nothing is lost: the scan of the next label places who waits."""
    found = sorting(home, "T7")
    places = [placed(found, home, serial, plan=WITH_TRAYS) for serial in "ABC"]
    words = found.use("T8")

    assert "tray T7 is full (2 pockets)" in places[2].trouble
    assert "Tray T8 takes units that pass. C: tray T8, pocket 1." == words
    assert ["C"] == [each.serial for each in tray_contents(home, "T8")]


def test_plan_with_trays_asks_for_one(home: Records) -> None:
    """And a plan without doesn't."""
    found = sorting(home)
    asked = placed(found, home, "A", plan=WITH_TRAYS)

    assert "no tray is in use for bin 1" in asked.trouble
    assert NOWHERE == placed(found, home, "B")
    assert "Tray T7 takes units that pass." == found.use("T7")


@pytest.mark.parametrize("text", ["", "7", "T", "T12345", "x=T7", "1=", "tray 7"])
def test_what_is_no_tray_is_told(home: Records, text: str) -> None:
    """With what a label reads."""
    with pytest.raises(StationError, match="such as T7"):
        sorting(home, text)


def test_hand_corrects_a_pocket(home: Records) -> None:
    """Its decision is that of the records; a unit never measured lies nowhere."""
    placed(sorting(home, "T7"), home, "A")
    found = place_by_hand(home, "A", "T7", 5, who="EN-02", why="it lay there", utc=START)

    assert Place("T7", 5) == found
    assert [("A", 5)] == [(each.serial, each.pocket) for each in tray_contents(home, "T7")]
    with pytest.raises(RecordError, match="Z was not measured yet"):
        place_by_hand(home, "Z", "T7", 6, who="EN-02", why="x", utc=START)


def test_hand_puts_no_held_unit_among_good_ones(home: Records) -> None:
    """Held is not good, whatever it once was."""
    placed(sorting(home, "T7"), home, "A")
    measured(home, "B")
    home.hold("B", reason_code="odd", who="EN-02", why="looks odd", utc=START)
    with pytest.raises(RecordError, match="never share a tray"):
        place_by_hand(home, "B", "T7", 2, who="EN-02", why="x", utc=START)


def test_unit_measured_again_into_another_bin_leaves_the_tray_of_the_first(home: Records) -> None:
    """A bin's own tray holds that bin only: with one for the new bin it goes there, without it goes nowhere."""
    found = sorting(home, "1=T7", "2=T8")
    placed(found, home, "A")
    placed(found, home, "B")
    moved = placed(found, home, "A", bin_number=2)
    lone = placed(sorting(home, "1=T7"), home, "B", bin_number=2)

    assert (Place("T8", 1), NOWHERE) == (moved, lone)
    assert () == tray_contents(home, "T7")


def test_unit_that_was_held_while_it_waited_gets_no_pocket_among_good_ones(home: Records) -> None:
    """The engineer's hold came before the scan of the tray: what counts is what is on record then."""
    found = sorting(home)
    placed(found, home, "A", plan=WITH_TRAYS)
    home.hold("A", reason_code="odd", who="EN-02", why="looks odd", utc=START)
    words = found.use("T7")

    assert () == tray_contents(home, "T7")
    assert "Tray T7 takes units that pass." == words


def test_hand_puts_no_unit_accepted_by_concession_among_others_that_fail(home: Records) -> None:
    """Nor the other way: both are FAIL, only one kind may be used."""
    failed = [measured(home, serial, decision=Decision.FAIL, bin_number=90) for serial in "ABC"]
    for record in failed[:2]:
        home.judge_again(concession_of(record))
    place_by_hand(home, "A", "T9", 1, who="EN-02", why="x", utc=START)
    place_by_hand(home, "B", "T9", 2, who="EN-02", why="x", utc=START)
    with pytest.raises(RecordError, match="accepted by concession never lie among others"):
        place_by_hand(home, "C", "T9", 3, who="EN-02", why="x", utc=START)


def test_reject_is_not_sorted_into_the_tray_of_units_accepted_by_concession(home: Records) -> None:
    """Somebody scans their tray for the bin of rejects: the unit gets no pocket there, and that is said."""
    accepted = measured(home, "A", decision=Decision.FAIL, bin_number=90)
    home.judge_again(concession_of(accepted))
    place_by_hand(home, "A", "T9", 1, who="EN-02", why="x", utc=START)
    reject = placed(sorting(home, "90=T9"), home, "B", decision=Decision.FAIL, bin_number=90)

    assert "accepted by concession never lie among others" in reject.trouble
    assert ["A"] == [each.serial for each in tray_contents(home, "T9")]


def concession_of(record: RunRecord) -> LaterDecision:
    """A later decision that accepts a failing unit."""
    return LaterDecision(
        run_id=record.opened.run_id, plan_hash=record.opened.plan_hash, decision=Decision.FAIL, reason=record.reason,
        bin_number=80, bin_name="concession", held=False, judgements=(), concession="CN-0001", who="EN-02", why="x",
        decided_utc=START,
    )  # fmt: skip
