"""`coilgate sets`: only good and free units, proposals, the record, pick lists, classes."""

import csv
import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from station.cli.main import cli
from station.core.results import Decision
from station.core.run_record import UnitId
from station.errors import RecordError, StationError
from station.records import Records
from station.records.standing import lot_standing
from tests.records.makers import START, make_opened, make_record

MAKE = ("sets", "make", "L2641", "--size", "3", "--tolerance")
RECORD = ("--record", "--who", "EN-02", "--why", "first shutters")


def _run(home: Path, *words: str) -> Result:
    return CliRunner().invoke(cli, ["--home", str(home), *words])


def _facts(home: Path, *words: str) -> dict:
    result = _run(home, *words, "--json")
    assert 0 == result.exit_code, result.output
    return json.loads(result.stdout)


@pytest.fixture
def home(two_lots: Path, tmp_path: Path) -> Path:
    """The two lots, to be changed."""
    shutil.copytree(two_lots, tmp_path / "home")
    return tmp_path / "home"


def _measure(home: Path, serial: str, r20_ohm: float, decision: Decision, *, held: bool = False) -> None:
    unit = UnitId(serial, "L2641", "01", serial[-3], serial[-2:])
    with Records.open(home) as records:
        opened = replace(make_opened(serial), unit=unit)
        records.open_run(opened)
        records.close_run(make_record(opened, r20_ohm=r20_ohm, decision=decision, held=held, results=3))


def test_proposal_has_most_sets_and_each_agrees(home: Path) -> None:
    """32 sets of 3 from 96 units at most; each within 1 %; no unit twice; nothing is on record."""
    fact = _facts(home, *MAKE, "R20=1 %")
    used = [serial for each in fact["sets"] for serial in each["serials"]]

    assert fact["proved_optimal"]
    assert all(each["spreads"][0] <= 0.01 for each in fact["sets"])
    assert 96 == len(set(used)) + len(fact["left"])
    assert len(used) == len(set(used))
    assert {} == _facts(home, "sets", "show", "L2641")["sets"]


@pytest.mark.parametrize(
    ("decision", "held"), [(Decision.FAIL, False), (Decision.INVALID, False), (Decision.PASS, True)]
)
def test_unit_that_is_not_good_now_is_never_in_a_set(home: Path, decision: Decision, held: bool) -> None:
    """It passed once; what counts is its latest production run, and whether it is held."""
    _measure(home, "L2641-01-A01", 8.0, decision, held=held)
    fact = _facts(home, *MAKE, "R20=10 %")
    named = {serial for each in fact["sets"] for serial in each["serials"]} | set(fact["left"])

    assert "L2641-01-A01" not in named
    assert 95 == fact["candidates"]


def test_held_unit_that_is_released_is_free_again(home: Path) -> None:
    """The latest word on holding counts."""
    with Records.open(home) as records:
        records.hold("L2641-01-A01", reason_code="odd", who="EN-02", why="looks odd", utc=START)
        held = lot_standing(records, "L2641")
        records.release_held("L2641-01-A01", reason_code="fine", who="EN-02", why="is fine", utc=START)
        released = lot_standing(records, "L2641")

    assert ({"L2641-01-A01"}, set()) == (set(held.held), set(released.held))
    assert "L2641-01-A01" not in held.passed
    assert "L2641-01-A01" in released.passed


def test_recorded_units_are_not_proposed_again(home: Path) -> None:
    """A coil is in one shutter only; names go on where they ended."""
    first = _facts(home, *MAKE, "R20=0.05 %", *RECORD)
    second = _facts(home, *MAKE, "R20=5 %")
    taken = {serial for each in first["sets"] for serial in each["serials"]}
    named = {serial for each in second["sets"] for serial in each["serials"]}

    assert set() == taken & named
    assert len(taken) == second["in_sets_already"]
    assert f"L2641-S{len(first['sets']) + 1:04d}" == second["sets"][0]["set"]
    assert {each["set"]: each["serials"] for each in first["sets"]} == _facts(home, "sets", "show", "L2641")["sets"]


def test_recorded_sets_are_in_the_digest_chain(home: Path) -> None:
    """What was put together can't be changed unseen."""
    _facts(home, *MAKE, "R20=1 %", *RECORD)
    with Records.open(home) as records:
        report = records.check()

    assert report.sound


def test_record_needs_who_and_why(home: Path) -> None:
    """Nobody records anonymously."""
    result = _run(home, *MAKE, "R20=1 %", "--record")

    assert 2 == result.exit_code
    assert "--who and --why" in result.output


def test_leftovers_go_into_sets_of_the_next_lot(home: Path) -> None:
    """Two lots together: units of both, and either lot knows that its units are taken."""
    both = _facts(home, "sets", "make", "L2641", "L2642", "--size", "3", "--tolerance", "R20=1 %", *RECORD)
    for lot in ("L2641", "L2642"):
        assert len(both["sets"]) == len(_facts(home, "sets", "show", lot)["sets"])
        left = _facts(home, "sets", "make", lot, "--size", "3", "--tolerance", "R20=1 %")["candidates"]
        assert sum(serial.startswith(lot) for serial in both["left"]) == left


def test_several_tolerances_are_all_kept_and_bound_is_told(home: Path) -> None:
    """L is the same for all invented units, so R20 alone decides."""
    fact = _facts(home, *MAKE, "R20=1 %", "--tolerance", "L=0.1 uH")

    assert len(fact["sets"]) <= fact["most_possible"]
    assert all(each["spreads"][1] <= 0.1e-6 for each in fact["sets"])
    assert ["R20", "L"] == [each["characteristic"] for each in fact["quantities"]]


def test_pick_list_has_every_unit_of_a_set_once(home: Path, tmp_path: Path) -> None:
    """In order of serial, which is the order of the panels."""
    target = tmp_path / "pick.csv"
    fact = _facts(home, *MAKE, "R20=1 %", "--to", str(target))
    rows = list(csv.DictReader(target.read_text(encoding="utf-8").splitlines()))

    assert {(serial, each["set"]) for each in fact["sets"] for serial in each["serials"]} == {
        (row["serial"], row["set"]) for row in rows
    }
    assert sorted(row["serial"] for row in rows) == [row["serial"] for row in rows]


def test_classes_cover_all_units(home: Path) -> None:
    """Half-open classes without gap; never more sets than by the list."""
    fact = _facts(home, "sets", "classes", "L2641", "--size", "3", "--tolerance", "R20=1 %")

    assert 96 == sum(each["units"] for each in fact["classes"])
    assert all(a["to_below"] == b["from"] for a, b in zip(fact["classes"], fact["classes"][1:], strict=False))
    assert fact["sets"] <= fact["sets_by_list"]


@pytest.mark.parametrize(
    ("tolerance", "words"),
    [("R20=1 V", "must be in ohm"), ("R20=", "each once"), ("X=1 %", "no unit has a value of X")],
)
def test_tolerance_that_makes_no_sense_is_told(home: Path, tolerance: str, words: str) -> None:
    """One clear error that says what would be right."""
    error = _run(home, *MAKE, tolerance).exception

    assert isinstance(error, StationError)
    assert words in str(error)


def test_unknown_lot_is_told(home: Path) -> None:
    """Not a lot without sets."""
    assert isinstance(_run(home, "sets", "show", "L9999").exception, RecordError)


def test_text_says_that_sets_are_only_proposed(home: Path) -> None:
    """And how to record them."""
    text = _run(home, *MAKE, "R20=1 %").stdout

    assert "(no way makes more)" in text
    assert "Proposed only: --record puts the sets on record." in text


def test_classes_text_compares_with_the_pick_list(home: Path) -> None:
    """What convenience costs is told."""
    text = _run(home, "sets", "classes", "L2641", "--size", "3", "--tolerance", "R20=1 %").stdout

    assert "sets by classes," in text
    assert "by a pick list" in text


def test_shown_sets_are_the_recorded_ones(home: Path) -> None:
    """As text; and without any it says how to make some."""
    before = _run(home, "sets", "show", "L2641").stdout
    text = _run(home, *MAKE, "R20=1 %", *RECORD).stdout
    after = _run(home, "sets", "show", "L2641").stdout

    assert "no sets on record" in before
    assert "On record." in text
    assert "L2641-S0001" in after


def test_set_that_was_scanned_whole_is_complete(home: Path) -> None:
    """In any order."""
    first = _facts(home, *MAKE, "R20=1 %", *RECORD)["sets"][0]
    result = _run(home, "sets", "assemble", *first["serials"][::-1])

    assert 0 == result.exit_code
    assert f"Set {first['set']} is complete" in result.stdout


def test_wrong_and_missing_units_of_a_set_are_named(home: Path) -> None:
    """One of another set instead of its own."""
    first, second = _facts(home, *MAKE, "R20=1 %", *RECORD)["sets"][:2]
    stray = second["serials"][0]
    result = _run(home, "sets", "assemble", *first["serials"][:2], stray)

    assert 2 == result.exit_code
    assert f"wrong: {stray} belongs to set {second['set']}" in result.stdout
    assert f"missing: {first['serials'][2]}" in result.stdout


def test_unit_scanned_twice_does_not_fill_a_set(home: Path) -> None:
    """Two scans of one coil are one coil."""
    first = _facts(home, *MAKE, "R20=1 %", *RECORD)["sets"][0]
    a, b, c = first["serials"]
    result = _run(home, "sets", "assemble", a, b, b)

    assert 2 == result.exit_code
    assert f"wrong: {b} scanned twice" in result.stdout
    assert f"missing: {c}" in result.stdout


@pytest.mark.parametrize(
    ("decision", "held", "words"),
    [
        (Decision.FAIL, False, "passes no more"),
        (Decision.INVALID, False, "passes no more"),
        (Decision.PASS, True, "is held"),
    ],
)
def test_unit_that_is_good_no_more_makes_its_set_incomplete(
    home: Path, decision: Decision, held: bool, words: str
) -> None:
    """It was good when the set was made; what counts is now."""
    first = _facts(home, *MAKE, "R20=1 %", *RECORD)["sets"][0]
    _measure(home, first["serials"][0], 8.0, decision, held=held)
    result = _run(home, "sets", "assemble", *first["serials"])

    assert 2 == result.exit_code
    assert words in result.stdout


def test_units_of_no_set_are_told(home: Path) -> None:
    """One clear error."""
    error = _run(home, "sets", "assemble", "L2641-01-A01").exception

    assert isinstance(error, RecordError)
    assert "make sets first" in str(error)
