"""`coilgate lot sample`: plan, draw, record, page."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from station.cli.main import cli
from station.errors import RecordError, StationError
from station.records import Records

SERIALS = [f"L2641-{i:04d}" for i in range(1, 1001)]
RECORD = ("--record", "--who", "EN-02", "--why", "incoming")


@pytest.fixture
def listed(tmp_path: Path) -> str:
    """A list of all units received."""
    file = tmp_path / "L2641.txt"
    file.write_text("\n".join(SERIALS) + "\n", encoding="utf-8")
    return str(file)


def _run(home: Path, listed: str, *words: str) -> Result:
    options = ("sample", "L2641", "--serials", listed, *words)
    return CliRunner().invoke(cli, ["--home", str(home), "lot", *options])


def _facts(home: Path, listed: str, *words: str) -> dict:
    result = _run(home, listed, *words, "--json")
    assert 0 == result.exit_code, result.output
    return json.loads(result.stdout)


def test_sample_has_the_size_of_the_standard(tmp_path: Path, listed: str) -> None:
    """ISO 2859-1:1999 tables 1 and 2-A: 1,000 units, level II, AQL 2.5: J, 80, Ac 5; table 10-J: 95 % at 3.3 %."""
    fact = _facts(tmp_path, listed, "--aql", "2.5")

    assert ("J", 80, 5, 6) == tuple(
        fact[name] for name in ("letter", "sample_size", "acceptance_number", "rejection_number")
    )
    assert 80 == len(set(fact["serials"]))
    assert set(fact["serials"]) <= set(SERIALS)
    assert fact["tables_checked"]


def test_draw_is_repeated_by_its_seed(tmp_path: Path, listed: str) -> None:
    """From the record anybody can draw again; without a seed each draw is another."""
    first = _facts(tmp_path, listed, "--aql", "1.0")
    again = _facts(tmp_path, listed, "--aql", "1.0", "--seed", first["seed"])
    other = _facts(tmp_path, listed, "--aql", "1.0")

    assert first["serials"] == again["serials"]
    assert first["serials"] != other["serials"]


def test_lot_has_one_draw_on_record(tmp_path: Path, listed: str) -> None:
    """Nobody draws until the sample pleases."""
    home = tmp_path / "home"
    first = _facts(home, listed, "--aql", "1.0", *RECORD)
    error = _run(home, listed, "--aql", "1.0", *RECORD).exception
    with Records.open(home) as records:
        (entry,) = records.audit_entries(subject="lot L2641")

    assert first["serials"] == json.loads(entry.why)["serials"]
    assert isinstance(error, RecordError)
    assert first["seed"] in str(error)


def test_chosen_seed_is_not_put_on_record(tmp_path: Path, listed: str) -> None:
    """Or the sample could be chosen by trying seeds."""
    result = _run(tmp_path, listed, "--aql", "1.0", "--seed", "mine", *RECORD)

    assert 2 == result.exit_code
    assert "nobody chose" in result.output


def test_tables_from_memory_are_told(tmp_path: Path, listed: str) -> None:
    """Tightened inspection was not checked against a printed text."""
    text = _run(tmp_path, listed, "--aql", "1.0", "--severity", "tightened").stdout

    assert "from memory" in text
    assert "Accept the lot with 1 nonconforming or fewer; not with 2 or more." in text


def test_unknown_aql_names_those_of_the_table(tmp_path: Path, listed: str) -> None:
    """One clear error."""
    error = _run(tmp_path, listed, "--aql", "1.2").exception

    assert isinstance(error, StationError)
    assert "0.65, 1, 1.5" in str(error)


def test_serial_listed_twice_is_refused(tmp_path: Path) -> None:
    """It would have two chances."""
    file = tmp_path / "twice.txt"
    file.write_text("A\nB\nA\n", encoding="utf-8")
    error = _run(tmp_path, str(file), "--aql", "10").exception

    assert isinstance(error, StationError)
    assert "twice" in str(error)


@pytest.mark.slow
def test_operating_characteristic_is_drawn(tmp_path: Path, listed: str) -> None:
    """A page by its ending."""
    target = tmp_path / "oc.svg"

    assert 0 == _run(tmp_path, listed, "--aql", "1.0", "--plot", str(target)).exit_code
    assert "lots accepted, %" in target.read_text(encoding="utf-8")
