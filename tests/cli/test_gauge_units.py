"""`coilgate gauge units`: units at hand that spread as the lot does."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from station.app.lot_life import receive_lot, scrap_units
from station.app.study_units import choose_units
from station.cli.main import cli
from station.errors import RecordError
from station.records import Records
from station.records.standing import lot_standing
from tests.cli.lots import record_lot
from tests.records.makers import START

LOT = "L2641"


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A lot of 96 units on record."""
    found = tmp_path_factory.mktemp("home")
    record_lot(found, LOT, 1)
    return found


def run(home: Path, *arguments: str) -> Result:
    """Run the command."""
    return CliRunner().invoke(cli, ["--home", str(home), "gauge", "units", *arguments])


def test_serials_come_one_a_line_and_pass(home: Path) -> None:
    """Ten different units that pass, in order of their R20; no value is printed."""
    done = run(home, LOT, "--characteristic", "R20")
    serials = done.stdout.splitlines()
    with Records.open(home) as records:
        values = records.lot_values(LOT, "R20")
        passed = lot_standing(records, LOT).passed
    by_serial = dict(zip(values.serials, values.values.tolist(), strict=True))
    found = [by_serial[each] for each in serials]

    assert 0 == done.exit_code
    assert 10 == len(set(serials))
    assert set(serials) <= passed
    assert sorted(found) == found
    assert "10 of " in done.stderr


def test_json_says_of_which_population(home: Path) -> None:
    """One object: the units, and what they were chosen of."""
    fact = json.loads(run(home, LOT, "--characteristic", "R20", "--count", "3", "--json").stdout)

    assert 3 == len(fact["units"])
    assert "that pass, are not held, scrapped or shipped, with a value of R20" in fact["of"]


def test_scrapped_unit_is_not_chosen(tmp_path: Path) -> None:
    """Nobody can load it."""
    record_lot(tmp_path, LOT, 1)
    with Records.open(tmp_path) as records:
        before = choose_units(records, LOT, "R20", 10).serials
        receive_lot(records, LOT, 96, who="EN-02", utc=START)
        scrap_units(records, LOT, before[:3], who="EN-02", why="broke", utc=START)
        after = choose_units(records, LOT, "R20", 10).serials

    assert set() == set(before[:3]) & set(after)


@pytest.mark.parametrize(
    ("lot", "characteristic", "count", "words"),
    [("L0000", "R20", 10, "not on record"), (LOT, "Q", 10, "0 units pass"), (LOT, "R20", 500, "a study of 500")],
)
def test_what_can_not_be_chosen_is_told(home: Path, lot: str, characteristic: str, count: int, words: str) -> None:
    """In words, with what to do."""
    with Records.open(home) as records, pytest.raises(RecordError, match=words):
        choose_units(records, lot, characteristic, count)
