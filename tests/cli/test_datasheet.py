"""`coilgate datasheet make`: of a lot, of a part, refusals, what the page says."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from station.cli.main import cli
from station.errors import RecordError
from tests.cli.lots import record_lot
from tests.reports.test_pdf import read_text

pytestmark = pytest.mark.slow


def _run(home: Path, *words: str) -> Result:
    return CliRunner().invoke(cli, ["--home", str(home), *words])


def _facts(home: Path, *words: str) -> dict:
    result = _run(home, "datasheet", "make", *words, "--json")
    assert 0 == result.exit_code, result.output
    return json.loads(result.stdout)


@pytest.fixture(scope="module")
def values() -> dict[str, dict[str, float]]:
    """R20 of the lots that `home` has."""
    return {}


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory, values: dict[str, dict[str, float]]) -> Path:
    """Two lots of a panel, one with units out of limits."""
    folder = tmp_path_factory.mktemp("home")
    values["L2641"] = record_lot(folder, "L2641", 1)
    values["L2642"] = record_lot(folder, "L2642", 1, mean_ohm=9.2, seed=2)
    return folder


def test_datasheet_stands_on_units_that_pass(home: Path, values: dict[str, dict[str, float]]) -> None:
    """What is not delivered is not promised: the typical value is of those within 6.8 to 9.2 ohm."""
    delivered = [value for value in values["L2642"].values() if 6.8 <= value <= 9.2]
    found = _facts(home, "L2642")["characteristics"]["R20"]

    assert 0 < len(delivered) < 96
    assert len(delivered) == found["units"]
    assert float(np.mean(delivered)) == pytest.approx(found["typical"])


def test_part_takes_all_its_lots_each_counted_once(home: Path, values: dict[str, dict[str, float]]) -> None:
    """The mean of the lots' means, so that a big lot is not heard louder."""
    means = [np.mean([v for v in values[lot].values() if 6.8 <= v <= 9.2]) for lot in ("L2641", "L2642")]
    fact = _facts(home, "IS-20")
    found = fact["characteristics"]["R20"]

    assert (["L2641", "L2642"], True, True) == (fact["lots"], fact["provisional"], fact["simulated"])
    assert float(np.mean(means)) == pytest.approx(found["typical"])
    assert "lot as a random effect, normal" == found["method"]
    assert (6.8, 9.2) == (found["minimum"], found["maximum"])


def test_stricter_promise_is_wider(home: Path) -> None:
    """More of the units, or surer."""
    usual, more = _facts(home, "L2641"), _facts(home, "L2641", "--coverage", "0.999", "--confidence", "0.99")
    ends = [each["characteristics"]["R20"] for each in (usual, more)]

    assert ends[1]["minimum"] < ends[0]["minimum"]
    assert ends[0]["maximum"] < ends[1]["maximum"]


def test_page_has_marks_cautions_and_what_is_not_stated(home: Path, tmp_path: Path) -> None:
    """Who reads only the paper must know what it stands on."""
    target = tmp_path / "IS-20.pdf"
    result = _run(home, "datasheet", "make", "IS-20", "--to", str(target))
    text = read_text(target.read_bytes())
    words = ("SIMULATED", "PROVISIONAL", "CAUTION", "hot enough to burn", "at least 99 % of the units", "Population")

    assert 0 == result.exit_code, result.output
    assert [] == [each for each in words if each not in text]
    assert "B@8mm: not measured on any unit that passes" in text


def test_page_is_the_same_bytes_for_the_same_records(home: Path, tmp_path: Path) -> None:
    """No date of printing."""
    for name in ("one.pdf", "two.pdf"):
        _run(home, "datasheet", "make", "L2641", "--to", str(tmp_path / name))

    assert (tmp_path / "one.pdf").read_bytes() == (tmp_path / "two.pdf").read_bytes()


def test_unknown_name_is_refused(home: Path) -> None:
    """Neither a lot nor a part."""
    error = _run(home, "datasheet", "make", "IS-99").exception

    assert isinstance(error, RecordError)
    assert "IS-99: neither a lot nor a part" in str(error)
