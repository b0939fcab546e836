"""`coilgate lot receive ... reopen` and what `lot show` says of it."""

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from station.app.panel_walk import MISSING
from station.cli.main import cli
from station.errors import StationError
from station.records import Records
from tests.cli.lots import record_lot
from tests.records.makers import START

EN = ("--who", "EN-02")


def run(home: Path, *words: str) -> Result:
    """Call a `lot` command."""
    return CliRunner().invoke(cli, ["--home", str(home), "lot", *words])


def facts(home: Path, *words: str) -> dict:
    """Return what a command states."""
    result = run(home, *words, "--json")
    assert 0 == result.exit_code, result.output
    return json.loads(result.stdout)


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A lot of 96 units on record, all of them in bin 1 (the makers' bin); 100 received."""
    folder = tmp_path_factory.mktemp("recorded")
    record_lot(folder, "L2641", 1)
    facts(folder, "receive", "L2641", "--part", "IS-20", "--quantity", "100", *EN)
    return folder


@pytest.fixture
def home(recorded: Path, tmp_path: Path) -> Path:
    """The lot, to be changed."""
    shutil.copytree(recorded, tmp_path / "home")
    return tmp_path / "home"


def test_received_lot_is_shown_before_anything_is_measured(tmp_path: Path) -> None:
    """An empty home: receive, show, twice; a second delivery adds."""
    facts(tmp_path, "receive", "L2650", "--quantity", "500", "--part", "IS-20", *EN)
    found = facts(tmp_path, "receive", "L2650", "--quantity", "20", *EN)
    shown = run(tmp_path, "show", "L2650")

    assert ("received", 520, 520) == (found["state"], found["received"], found["not_measured"])
    assert "Lot L2650: nothing was measured yet." in shown.output
    assert "State: received. 520 received, part IS-20." in shown.output


def test_lot_that_no_serial_can_be_of_is_refused_when_received(home: Path) -> None:
    """A slip of the keys makes no lot; a lot that is known already may always get more."""
    slipped = run(home, "receive", "L26411", "--quantity", "500", *EN)
    known = facts(home, "receive", "L2641", "--quantity", "20", *EN)

    assert "no serial of IS-20 can be of a lot 'L26411'" in str(slipped.exception)
    assert known["received"] >= 20


def test_numbers_add_up_in_lot_show(home: Path) -> None:
    """96 measured of 100: four never measured; the sum is what was received."""
    life = facts(home, "show", "L2641")["life"]
    kinds = ("passed", "failed", "held", "conceded", "scrapped", "not_measured")

    assert ("open", 100, 4) == (life["state"], life["total"], life["never_measured"])
    assert life["received"] == sum(life[each] for each in kinds)
    assert "96 passed, 0 failed, 0 held, 0 conceded, 0 scrapped, 4 not measured (of these 4 never); 100 in all." in run(
        home, "show", "L2641"
    ).output


def test_close_says_what_is_to_be_counted(home: Path) -> None:
    """A place that was not counted is named, with the option to type."""
    result = run(home, "close", "L2641", "--counted", "1=96", *EN)

    assert "not counted: unmeasured. Count them and give each: --counted unmeasured=N" in str(result.exception)


def test_difference_needs_a_reason_and_stays_on_record(home: Path) -> None:
    """One unit is missing in bin 1."""
    counts = ("--counted", "1=95", "--counted", "unmeasured=4")
    refused = run(home, "close", "L2641", *counts, *EN)
    life = facts(home, "close", "L2641", *counts, *EN, "--why", "one given to the customer")
    shown = run(home, "show", "L2641").output

    assert "1 counted 95, on record 96; 1 fewer in all than the 100 received. A difference needs a reason" in (
        str(refused.exception)
    )
    assert ("closed", 1, -1) == (
        life["state"], life["closings"][0]["missing"], life["closings"][0]["counts"][0]["difference"]
    )  # fmt: skip
    assert "In all 1 fewer counted than received." in shown
    assert "Reason: one given to the customer" in shown


def test_places_without_a_unit_are_shown_and_explain_the_closing(home: Path) -> None:
    """Three places of panel 02, one that has a unit after all, one of another lot: three of four are explained."""
    with Records.open(home) as records:
        for serial in ("L2641-02-A01", "L2641-02-A02", "L2641-02-A03", "L2641-01-A01", "L2642-01-A01"):
            records.audit(who="OP-07", action=MISSING, subject=serial, why="no unit at the place", utc=START)
    shown = run(home, "show", "L2641").output
    life = facts(home, "show", "L2641")["life"]
    closed = facts(home, "close", "L2641", "--counted", "1=96", "--counted", "unmeasured=1", *EN)
    told = run(home, "show", "L2641").output

    assert "4 not measured (of these 4 never, 3 of them missing); 100 in all." in shown
    assert "3 places of its panels are on record as missing (no unit there)." in shown
    assert (3, 3, 100) == (life["missing_places"], life["missing_received"], life["total"])
    assert ("closed", 0) == (closed["state"], closed["closings"][0]["missing"])
    assert {"place": "missing", "on_record": 3, "counted": 3, "difference": 0} in closed["closings"][0]["counts"]
    assert "missing (places without a unit)" in told


def test_part_is_closed_by_bin_or_by_serial_and_the_rest_reconciled(home: Path) -> None:
    """Two units by serial, then what is left of the bin; then the whole without a difference, and back."""
    serials = home.parent / "shipped.txt"
    serials.write_text("L2641-01-A01\nL2641-01-A02\n", encoding="utf-8")
    first = facts(home, "close", "L2641", "--part", "--serials", str(serials), "--counted", "1=2", *EN)
    second = facts(home, "close", "L2641", "--part", "--counted", "1=94", *EN)
    whole = facts(home, "close", "L2641", "--counted", "unmeasured=4", *EN)
    again = facts(home, "reopen", "L2641", *EN, "--why", "four more found")

    assert (2, 96, "open") == (first["closed_in_parts"], second["closed_in_parts"], second["state"])
    assert ("closed", [0, 0, 0]) == (whole["state"], [each["missing"] for each in whole["closings"]])
    assert ("open", [1, 2]) == (again["state"], [each["closing"] for each in again["closings"]])


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("hold", "L9999", *EN, "--why", "x"), "lot 'L9999' is not on record"),
        (("release", "L2641", *EN, "--why", "x"), "lot L2641 is not held"),
        (("close", "L2641", "--counted", "1", *EN), "a count is a place once and its units"),
        (("close", "L2641", "--counted", "1=1", "--counted", "01=1", *EN), "got '01=1'"),
        (("close", "L2641", "--part", "--counted", "7=0", *EN), "no unit is in what would be closed"),
        (("close", "L2641", "--serials", "x.txt", *EN), "--serials goes with --part"),
        (("scrap", "L2641", *EN, "--why", "x"), "name the units that are scrapped"),
        (("receive", "L2641", "--quantity", "-50", *EN), "a correction is negative and needs a reason"),
        (("reopen", "L2641", *EN, "--why", "x"), "lot L2641 is not closed"),
        (("hold", "L2641", "--who", "OP-07", "--why", "x"), "OP-07 is operator; this is signed by the role engineer"),
        (("close", "L2641", "--counted", "1=96", "--who", "me"), "'me' is no badge"),
    ],
)
def test_what_is_not_possible_is_refused_in_words(home: Path, words: tuple[str, ...], said: str) -> None:
    """One clear error: the program's main turns it into words and exit 2."""
    result = run(home, *words)

    assert said in f"{result.exception}{result.output}"
    assert isinstance(result.exception, StationError | SystemExit)


def test_hold_and_scrap_are_shown(home: Path) -> None:
    """State held with its reason; a scrapped unit counts once."""
    facts(home, "scrap", "L2641", "L2641-01-A01", "--unnumbered", "2", *EN, "--why", "panel broke")
    held = facts(home, "hold", "L2641", *EN, "--why", "ask the board maker")

    assert ("held", "ask the board maker") == (held["state"], held["held_for"])
    assert (95, 3, 2, 100) == (held["passed"], held["scrapped"], held["not_measured"], held["total"])
    assert "State: held, by EN-02: ask the board maker." in run(home, "show", "L2641").output


def test_lots_are_listed_with_where_they_stand(home: Path, tmp_path: Path) -> None:
    """Without a name; one that was only received too, and an empty home says so."""
    facts(home, "receive", "L2650", "--part", "IS-20", "--quantity", "10", *EN)
    rows = [json.loads(each) for each in run(home, "show", "--json").stdout.splitlines()]
    text = run(home, "show").stdout
    empty = run(tmp_path / "new", "show")

    assert [("L2641", "open", 96), ("L2650", "received", 0)] == [
        (each["lot"], each["state"], each["units"]) for each in rows
    ]
    assert "L2650  received" in text
    assert "No lot is on record yet." in empty.stdout
