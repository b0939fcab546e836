"""`coilgate lot report`, `coilgate unit certificate`: written from records, read back."""

import csv
import html
import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from station.app.papers import write_papers
from station.cli.main import cli
from station.errors import RecordError, StationError
from station.records import Records
from station.records.standing import lot_standing
from tests.cli.lots import record_lot
from tests.records.makers import START
from tests.reports.test_pdf import read_text


def _run(home: Path, *words: str) -> Result:
    return CliRunner().invoke(cli, ["--home", str(home), *words])


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A lot of 2 panels, a few of its units out of limits."""
    folder = tmp_path_factory.mktemp("home")
    record_lot(folder, "L2641", 2, mean_ohm=9.1)
    return folder


@pytest.fixture(scope="module")
def report(home: Path) -> bytes:
    """The lot's report."""
    target = home / "lot.pdf"
    result = _run(home, "lot", "report", "L2641", "--to", str(target))
    assert 0 == result.exit_code, result.output
    return target.read_bytes()


@pytest.mark.slow
def test_lot_report_has_the_counts_of_lot_show(home: Path, report: bytes) -> None:
    """Two views of one record."""
    shown = json.loads(_run(home, "lot", "show", "L2641", "--json").stdout)
    text = read_text(report)

    assert 0 < shown["fail"] < 192
    assert f"Pass {shown['pass']}" in text
    assert f"Fail {shown['fail']}" in text
    assert f"Yield {100 * shown['yield']:.1f} %" in text
    assert "SIMULATED" in text


@pytest.mark.slow
def test_lot_report_names_populations_limits_and_digest(home: Path, report: bytes) -> None:
    """A statistic without its population says nothing; the digest's head shows a cut tail later."""
    with Records.open(home) as records:
        head = records.head("bench-1")
    text = read_text(report)

    assert "Population of the counts: units with a production run" in text
    assert "6.800 Ω 9.200 Ω" in text
    assert f"entry {head.seq}: {head.digest}" in text
    assert "revision 1" in text


@pytest.mark.slow
def test_lot_report_is_the_same_bytes_for_the_same_records(home: Path, report: bytes, tmp_path: Path) -> None:
    """So a copy can be checked against the records."""
    for name in ("again.pdf", "one.html", "two.html"):
        assert 0 == _run(home, "lot", "report", "L2641", "--to", str(tmp_path / name)).exit_code

    assert report == (tmp_path / "again.pdf").read_bytes()
    assert (tmp_path / "one.html").read_bytes() == (tmp_path / "two.html").read_bytes()


def test_lot_report_of_an_unknown_lot_is_refused(home: Path, tmp_path: Path) -> None:
    """And leaves no file."""
    result = _run(home, "lot", "report", "L9999", "--to", str(tmp_path / "x.pdf"))

    assert isinstance(result.exception, RecordError)
    assert [] == list(tmp_path.iterdir())


def test_report_into_a_file_of_another_kind_is_refused(home: Path, tmp_path: Path) -> None:
    """Before anything is worked out."""
    error = _run(home, "lot", "report", "L2641", "--to", str(tmp_path / "x.doc")).exception

    assert isinstance(error, StationError)
    assert "ends in .pdf or .html" in str(error)


@pytest.mark.slow
def test_report_into_a_folder_that_is_missing_is_refused(home: Path, tmp_path: Path) -> None:
    """With the file's name and no traceback."""
    error = _run(home, "lot", "report", "L2641", "--to", str(tmp_path / "none" / "x.html")).exception

    assert isinstance(error, StationError)
    assert "can't be written" in str(error)


@pytest.mark.slow
def test_certificate_is_written_from_the_record(home: Path, tmp_path: Path) -> None:
    """The unit's newest run, and the same bytes each time."""
    files = [tmp_path / "one.pdf", tmp_path / "two.pdf"]
    for file in files:
        fact = json.loads(_run(home, "unit", "certificate", "L2641-01-A01", "--to", str(file), "--json").stdout)

    assert files[0].read_bytes() == files[1].read_bytes()
    assert ("L2641-01-A01", fact["certificate"]) == (fact["serial"], fact["decision"] == "PASS")
    assert fact["run"] in read_text(files[0].read_bytes())


def test_unit_that_is_held_gets_no_certificate(home: Path, tmp_path: Path) -> None:
    """Held after it passed: a bench that drifted holds units that have their PASS already."""
    with Records.open(home) as records:
        shown = next(iter(records.lot_values("L2641", "R20").serials))
        passes = [each for each in lot_standing(records, "L2641").passed if each != shown]
        records.hold(min(passes), reason_code="bench_drifted", who="EN-02", why="test", utc=START)
    fact = json.loads(
        _run(home, "unit", "certificate", min(passes), "--to", str(tmp_path / "x.html"), "--json").stdout
    )

    assert ("PASS", True, False) == (fact["decision"], fact["held"], fact["certificate"])
    assert "<h1>Unit" in (tmp_path / "x.html").read_text(encoding="utf-8")


def test_certificate_of_an_unknown_unit_is_refused(home: Path, tmp_path: Path) -> None:
    """And leaves no file."""
    error = _run(home, "unit", "certificate", "L2641-99-A01", "--to", str(tmp_path / "x.pdf")).exception

    assert isinstance(error, RecordError)
    assert [] == list(tmp_path.iterdir())


@pytest.mark.slow
def test_papers_of_a_lot_are_written_all_at_once(home: Path, tmp_path: Path) -> None:
    """What the demo ends with: four files, each named."""
    with Records.open(home) as records:
        papers = dict(write_papers(records, "L2641", tmp_path / "reports"))
    causes = papers["Causes"].read_text(encoding="utf-8").splitlines()

    assert ["Lot report", "Datasheet", "Causes", "Sets"] == list(papers)
    assert sorted(papers.values()) == sorted((tmp_path / "reports").iterdir())
    assert "cause,not pass,pass,share,expected units,examples" == causes[0]
    assert 192 == sum(int(cell) for line in csv.reader(causes[1:]) for cell in line[1:3])


@pytest.mark.slow
def test_report_to_the_board_maker_has_the_copper_that_was_measured(home: Path, tmp_path: Path) -> None:
    """Coupons and a section by panel, widths by unit, and what R20 leaves; before that it says that nobody looked."""
    copy, target = tmp_path / "home", tmp_path / "boards.html"
    shutil.copytree(home, copy)
    _run(copy, "lot", "report", "L2641", "--supplier", "--to", str(target))
    before = target.read_text(encoding="utf-8")
    coupons = ("01: 100 um, 50 mm, 0.5326 ohm, 23 degC", "01: 400 um, 50 mm, 0.1240 ohm, 23 degC")
    why = ("--who", "EN-02", "--why", "incoming")
    words = [word for each in coupons for word in ("--coupon", each)]
    _run(copy, "lot", "copper", "L2641", *words, "--uncertainty", "0.2 mohm", *why)
    serial = "L2641-01-A01"
    _run(copy, "unit", "copper", serial, "--at", "1/10 width 111 um", "--uncertainty", "1 um", *why)
    _run(copy, "unit", "copper", serial, "--thickness", "17.2 um", "--uncertainty", "0.2 um", *why)
    result = _run(copy, "lot", "report", "L2641", "--supplier", "--to", str(target))
    page = target.read_text(encoding="utf-8")

    assert 0 == result.exit_code, result.output
    assert "Neither track widths nor coupons" in before
    assert "Neither track widths nor coupons" not in page
    assert "8.96 ± " in page
    assert "17.20 ± 0.39\u00a0µm" in page
    assert "left for thickness" in page
    assert "width and thickness not told apart" in before
    assert "our bench's part is not known" in html.unescape(before)
    assert "copper thickness and resistivity" in page


@pytest.mark.slow
def test_report_to_the_board_maker_bounds_the_benchs_share(home: Path, tmp_path: Path) -> None:
    """The bench's share of the variance is (U / 2 s) squared at most."""
    target = tmp_path / "boards.html"
    result = _run(home, "lot", "report", "L2641", "--supplier", "--to", str(target))
    with Records.open(home) as records:
        found = records.lot_values("L2641", "R20")
    share = (np.median(found.expanded_uncertainties) / 2 / found.values.std(ddof=1)) ** 2
    page = target.read_text(encoding="utf-8")

    assert 0 == result.exit_code, result.output
    assert f">{100 * share:.1f}\u00a0%<" in page
    assert "not counted against the boards" in page
