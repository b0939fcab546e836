"""`coilgate concession`: granted, listed, used and withdrawn; signed with a secret if the badge has one."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from station.app.accounts import AccountError
from station.cli.main import cli
from station.core.concession import ConcessionError
from tests.app.judged_lot import record_lot
from tests.app.test_concessions import FIT, UNITS, VALUES

SECRET = "a long enough secret"
GRANT = (
    "grant", "--part", "IS-20", "--characteristic", "R20", "--upper", "9.6 ohm", "--lot", "L2641",
    "--expires", "2127-01-31", "--customer", "CR-118", "--why", "the driver has the voltage", "--who", "EN-02",
)  # fmt: skip


def run(home: Path, *words: str, noun: str = "concession", typed: str | None = None) -> Result:
    """Run a command on a home."""
    return CliRunner().invoke(cli, ["--home", str(home), noun, *words], input=typed)


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A lot of eight units, three of which fit."""
    record_lot(tmp_path, VALUES)
    return tmp_path


def test_concession_is_granted_shown_used_and_withdrawn(home: Path) -> None:
    """From the grant to the lot's counts; every step says where it stands."""
    granted = json.loads(run(home, *GRANT, "--json").stdout)
    shown = run(home, "show", "CN-0001")
    accepted = run(home, "accept", "CN-0001", "--all-of-lot", "L2641", "--who", "EN-02")
    lot = json.loads(run(home, "show", "L2641", "--json", noun="lot").stdout)
    text = run(home, "show", "L2641", noun="lot").stdout
    unit = run(home, "show", FIT[0], noun="unit").stdout
    whole = json.loads(run(home, "show", FIT[0], "--json", noun="unit").stdout)
    withdrawn = run(home, "withdraw", "CN-0001", "--why", "no longer wanted", "--who", "EN-02")
    listed = json.loads(run(home, "list", "--json").stdout)

    assert {"number": "CN-0001", "kind": "concession", "bin": 80} == granted
    assert f"{FIT[0]}  fits" in shown.stdout
    assert 0 == accepted.exit_code
    assert [f"{each}  accepted by concession CN-0001: bin 80 (concession)" for each in FIT] == (
        accepted.stdout.splitlines()
    )
    assert (2, 5, 3) == (lot["pass"], lot["fail"], lot["conceded"])
    assert "Of those that fail, 3 accepted by concession." in text
    assert "fail  bin 80 (concession)  accepted by concession CN-0001" in unit
    assert "decided again: accepted by concession CN-0001, bin 80 (concession)" in unit
    assert "Put it into bin 90" not in unit
    assert "CN-0001" == whole["later_decisions"][0]["concession"]
    assert 0 == withdrawn.exit_code
    assert ("withdrawn", 3) == (listed["standing"], listed["used"])


def test_unit_that_does_not_fit_is_told_and_counts_for_the_exit_code(home: Path) -> None:
    """The others of the same command are accepted."""
    run(home, *GRANT)
    found = run(home, "accept", "CN-0001", UNITS[0], FIT[0], "--who", "EN-02")

    assert 2 == found.exit_code
    assert f"{FIT[0]}  accepted" in found.stdout
    assert f"{UNITS[0]}: not accepted" in found.stderr


def test_account_signs_with_its_secret(home: Path) -> None:
    """A wrong one signs nothing; no secret is shown."""
    run(home, "add", "EN-02", "--role", "engineer", "--secret", SECRET, noun="badge")
    wrong = run(home, *GRANT, typed="another secret\n")
    right = run(home, *GRANT, typed=f"{SECRET}\n")

    assert isinstance(wrong.exception, AccountError)
    assert 0 == right.exit_code
    assert SECRET not in right.output


@pytest.mark.parametrize("badge", ["OP-07", "EN", "VI-01"])
def test_only_an_engineer_signs(home: Path, badge: str) -> None:
    """Neither an operator, nor a viewer, nor what is no badge."""
    found = run(home, *GRANT[:-1], badge)

    assert isinstance(found.exception, AccountError)


def test_permit_for_a_made_lot_is_refused(home: Path) -> None:
    """Before making: a lot on record is made."""
    found = run(home, *GRANT, "--kind", "deviation-permit")

    assert isinstance(found.exception, ConcessionError)


def test_empty_list_says_so(tmp_path: Path) -> None:
    """No table without rows."""
    assert "No concession" in run(tmp_path, "list").stdout
