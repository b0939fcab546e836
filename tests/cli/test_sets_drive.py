"""`coilgate sets drive`: equal field for a group on record."""

import csv
import json
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from station.cli.main import cli
from station.core.results import Decision
from station.core.results import Result as Measured
from station.errors import RecordError
from station.records import Records
from tests.records.makers import START, make_opened, make_record

GROUP = {"A": (7.2, 4.20e-3), "B": (8.0, 4.25e-3), "C": (8.8, 4.15e-3)}
OPTIONS = ("--field", "1 mT", "--at", "B@2mm", "--thermal-resistance", "60 K/W")


def _field(result: Measured, field: float) -> Measured:
    return replace(result, value=field, unit_symbol="T/A") if result.characteristic == "B@2mm" else result


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """Three good units and a failed one."""
    with Records.open(tmp_path) as records:
        for serial, (r20, field) in {**GROUP, "D": (9.9, 4.2e-3)}.items():
            opened = make_opened(serial)
            decision = Decision.FAIL if serial == "D" else Decision.PASS
            made = make_record(opened, r20_ohm=r20, decision=decision, results=4)
            records.open_run(opened)
            records.close_run(replace(made, results=tuple(_field(each, field) for each in made.results)))
    return tmp_path


def _run(home: Path, *words: str) -> Result:
    return CliRunner().invoke(cli, ["--home", str(home), "sets", "drive", *words])


def test_currents_and_duties_make_equal_fields(home: Path, tmp_path: Path) -> None:
    """B / (B per ampere) for each; the table has every unit in every way."""
    target = tmp_path / "drive.csv"
    result = _run(home, "A", "B", "C", *OPTIONS, "--to", str(target), "--json")
    ways = {each["way"]: each for each in json.loads(result.stdout)["ways"]}
    rows = list(csv.DictReader(target.read_text(encoding="utf-8").splitlines()))

    assert [1e-3 / field for _, field in GROUP.values()] == pytest.approx(
        [unit["current_a"] for unit in ways["own current"]["units"]]
    )
    assert [1e-3] * 3 == pytest.approx([unit["field_t"] for unit in ways["own duty"]["units"]])
    assert 4 * 3 == len(rows)


def test_text_has_the_caution(home: Path) -> None:
    """Work with hot parts shows its caution."""
    text = _run(home, "A", "B", *OPTIONS).stdout

    assert "CAUTION: coils get hot enough to burn" in text
    assert "own current: field spread 0.00%" in text


@pytest.mark.parametrize(
    ("serials", "words"),
    [(("A", "D"), "D is no unit that passes"), (("A", "X"), "X is not on record"), (("A", "A"), "named twice")],
)
def test_unit_that_should_not_be_driven_is_refused(home: Path, serials: tuple[str, ...], words: str) -> None:
    """One clear error that names it."""
    error = _run(home, *serials, *OPTIONS).exception

    assert isinstance(error, RecordError)
    assert words in str(error)


def test_characteristic_that_is_no_field_is_refused(home: Path) -> None:
    """L is in henry."""
    error = _run(home, "A", "--field", "1 mT", "--at", "L", "--thermal-resistance", "60 K/W").exception

    assert isinstance(error, RecordError)
    assert "in H and not in T/A" in str(error)


def test_thermal_resistance_that_is_no_number_is_refused(home: Path) -> None:
    """`nan` would make every rise look fine."""
    assert 2 == _run(home, "A", "--field", "1 mT", "--at", "B@2mm", "--thermal-resistance", "nan K/W").exit_code


def test_recorded_set_is_driven_by_its_name_or_label(home: Path) -> None:
    """The same as its units, named one by one."""
    entry = {
        "format": 1,
        "why": "x",
        "lots": ["L2641"],
        "tolerances": {"R20": "20 %"},
        "sets": {"L2641-S0001": ["A", "B"]},
    }
    with Records.open(home) as records:
        records.audit(who="EN-02", action="record sets", subject="matched sets", why=json.dumps(entry), utc=START)
    names = (("A", "B"), ("L2641-S0001",), ("set L2641-S0001; lot L2641; part IS-20; units A, B",))
    found = [json.loads(_run(home, *each, *OPTIONS, "--json").stdout) for each in names]

    assert found[0] == found[1] == found[2]
    assert isinstance(_run(home, "L2641-S0002", *OPTIONS).exception, RecordError)
