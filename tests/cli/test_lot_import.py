"""`coilgate lot import`: all or nothing, once, never a pass; used by the statistics with its population named."""

import csv
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from station.app.files import read_plan
from station.cli.main import cli
from station.core.results import Decision
from station.core.run_record import Purpose, UnitId
from station.data import data_path
from station.errors import RecordError, StudyError
from station.records import Records
from station.records.lot_findings import lot_findings
from tests.cli.lots import made_values
from tests.records.makers import START, make_opened, make_record

MAPS = ("--map", "SN=serial", "--map", "R_ohm=R20", "--map", "L_uH=L")
WHO = ("--source", "board maker", "--who", "EN-02")


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """Records with the plan IS-20 released."""
    plan = read_plan(data_path("plans/IS-20.toml"))
    with Records.open(tmp_path / "home") as records:
        records.release_plan(plan, who="EN-02", why="test", utc=START)
    return tmp_path / "home"


def run(home: Path, *words: str) -> Result:
    """Call a command."""
    return CliRunner().invoke(cli, ["--home", str(home), *words])


def facts(home: Path, *words: str) -> dict:
    """Return what a command states."""
    result = run(home, *words, "--json")
    assert 0 == result.exit_code, f"{result.output}{result.exception}"
    return json.loads(result.stdout)


def sheet(home: Path, *rows: str, name: str = "old.csv") -> Path:
    """Write a file beside the home."""
    target = home.parent / name
    target.write_text("SN,R_ohm,L_uH\n" + "".join(f"{row}\n" for row in rows), encoding="utf-8")
    return target


def whole_lot(home: Path, lot: str = "L2601") -> Path:
    """Write a file of 96 units."""
    rows = [f"{unit.serial},{value!r},{11.6 + 0.01 * i % 0.1!r}" for i, (unit, value) in enumerate(made_values(lot, 1))]
    return sheet(home, *rows)


def bring(home: Path, file: Path, *words: str, lot: str = "L2601") -> Result:
    """Import a file."""
    return run(home, "lot", "import", str(file), "--lot", lot, *MAPS, *WHO, *words)


@pytest.mark.slow
def test_imported_units_are_never_a_pass_and_do_not_count(home: Path) -> None:
    """Whatever their values: INVALID because imported; no yield; not measured in the lot's sum; the chain is sound."""
    assert 0 == bring(home, whole_lot(home)).exit_code
    shown = facts(home, "lot", "show", "L2601")
    with Records.open(home) as records:
        runs = records.runs_of("L2601-01-A01")
        record = records.run(runs[0].run_id)
        sound = records.check().sound

    assert (0, 0, None, 96) == (shown["units"], shown["pass"], shown["yield"], shown["life"]["not_measured"])
    assert [(Purpose.IMPORTED, Decision.INVALID, False)] == [(e.purpose, e.decision, e.simulated) for e in runs]
    assert ("imported", "") == (record.reason.code if record.reason else "", record.verification_id)
    assert record.transcript[0].data.startswith(b"line 2: L2601-01-A01,")
    assert sound


@pytest.mark.slow
def test_statistics_use_them_only_when_asked_and_name_them(home: Path) -> None:
    """Without asking there is no value, and the words to type; with it the population says what they are."""
    bring(home, whole_lot(home))
    refused = str(run(home, "lot", "capability", "L2601").exception)
    found = facts(home, "lot", "capability", "L2601", "--population", "imported", "--characteristic", "R20")
    explained = facts(home, "lot", "explain", "L2601")

    assert "imported readings of 96 units: --population imported" in refused
    assert "with an imported R20 (readings from a file, not measured here)" in json.dumps(found)
    assert 96 == explained["measured"]
    assert "96 by imported readings, which carry no decision" in explained["population"]


def test_what_we_measured_goes_before_what_was_brought_in_later(home: Path) -> None:
    """The search for causes sees our value and decision; the statistics of our values never see theirs."""
    unit = UnitId("L2601-01-A01", "L2601", "01", "A", "01")
    with Records.open(home) as records:
        opened = replace(make_opened(unit.serial, simulated=False), unit=unit)
        records.open_run(opened)
        records.close_run(make_record(opened, r20_ohm=8.5, results=3))
    assert 0 == bring(home, sheet(home, "L2601-01-A01,7.0,11.6", "L2601-01-A02,7.1,11.6")).exit_code
    with Records.open(home) as records:
        found = lot_findings(records, "L2601", ["R20"])
        ours = records.lot_values("L2601", "R20")
        theirs = records.lot_values("L2601", "R20", purpose=Purpose.IMPORTED)

    assert ([8.5, 7.1], ("PASS", "INVALID"), 1) == (found.values["R20"].tolist(), found.decisions, found.imported)
    assert ([8.5], [7.0, 7.1]) == (ours.values.tolist(), theirs.values.tolist())


def test_all_mistakes_are_told_at_once_and_nothing_is_imported(home: Path) -> None:
    """Serials by the plan, numbers, doubles: each with file and line."""
    file = sheet(home, "L2601-01-A01,7.9,11.6", "L2601-01-Z99,7.9,11.6", "L2641-01-A01,7.9,11.6", "L2601-01-A02,x,11.6")
    error = bring(home, file).exception
    with Records.open(home) as records:
        lots = records.lots()

    assert isinstance(error, StudyError)
    assert [(3, "SN"), (4, "SN"), (5, "R_ohm")] == [(each.line, each.key) for each in error.mistakes]
    assert "old.csv:4: SN: serial L2641-01-A01 belongs to lot L2641" in str(error)
    assert () == lots


def test_bad_lines_are_left_out_when_asked_and_listed(home: Path) -> None:
    """The list is safe to open in a spreadsheet."""
    file = sheet(home, "L2601-01-A01,7.9,11.6", "=cmd(),7.9,11.6", "L2601-01-A02,x,11.6")
    result = bring(home, file, "--skip-bad", str(home.parent / "bad.csv"))
    rows = list(csv.reader((home.parent / "bad.csv").read_text(encoding="utf-8").splitlines()))

    assert 0 == result.exit_code
    assert "1 units imported" in result.output
    assert ["line", "3", "4"] == [row[0] for row in rows]
    assert not any(cell.startswith(("=", "+", "-", "@")) for row in rows for cell in row)


def test_same_file_is_imported_once(home: Path) -> None:
    """Its digest is on record; --again is for a map that was wrong, and the newest import counts then."""
    file = whole_lot(home)
    first = bring(home, file)
    refused = bring(home, file).exception
    again = bring(home, file, "--again")
    with Records.open(home) as records:
        runs = len(records.runs_of("L2601-01-A01"))

    assert isinstance(refused, RecordError)
    assert re.search(r"imported already, by EN-02, 20[-0-9]{8} [0-9]{2}:[0-9]{2} UTC\.", str(refused))
    assert (0, 2) == (again.exit_code, runs)
    assert re.search(r"^and [0-9]+ more$", first.output, re.MULTILINE)


@pytest.mark.slow
def test_export_of_every_run_has_the_imported_ones(home: Path) -> None:
    """A row a closed run, with its purpose; without asking, production runs only."""
    bring(home, whole_lot(home))
    target = home.parent / "out.csv"
    usual = facts(home, "lot", "export", "L2601", "--to", str(target))
    every = facts(home, "lot", "export", "L2601", "--to", str(target), "--every-run")
    purposes = {row["purpose"] for row in csv.DictReader(target.read_text(encoding="utf-8").splitlines())}

    assert (0, 96, {"imported"}) == (usual["rows"], every["rows"], purposes)


@pytest.mark.slow
def test_their_readings_are_held_against_ours_unit_by_unit(home: Path) -> None:
    """Theirs read 0.1 ohm more: that is the bias, beyond what their stated uncertainty of 0.2 % and ours explain."""
    pairs = made_values("L2601", 1)[:30]
    generator = np.random.default_rng(1)
    with Records.open(home) as records:
        for unit, value in pairs:
            opened = replace(make_opened(unit.serial, lot="L2601", simulated=False), unit=unit)
            records.open_run(opened)
            records.close_run(make_record(opened, r20_ohm=value, results=2))
    rows = [f"{unit.serial},{value + 0.1 + generator.normal(0, 0.01):.4f},11.6" for unit, value in pairs]
    empty = run(home, "lot", "agreement", "L2601").exception
    bring(home, sheet(home, *rows), "--uncertainty", "R20=0.2 %")
    found = facts(home, "lot", "agreement", "L2601", "--characteristic", "R20")

    assert "both measured here (30 units) and imported (0 units)" in str(empty)
    assert (30, False) == (found["units"], found["bias_explained"])
    assert 0.1 == pytest.approx(found["bias"], abs=0.01)
    # Ours is 0.1 % (standard), theirs 0.2 % / 1.96; both common to all units.
    assert np.hypot(8.0 * 1e-3, 8.1 * 2e-3 / 1.96) == pytest.approx(found["bias_standard_uncertainty"], rel=0.05)
    assert "both measured here and imported" in found["population"]


def test_dry_run_leaves_nothing_on_record(home: Path) -> None:
    """It shows what would be imported."""
    result = bring(home, whole_lot(home), "--dry-run")
    with Records.open(home) as records:
        lots, entries = records.lots(), records.audit_entries()

    assert "96 units would be imported; nothing is on record." in result.output
    assert ((), ()) == (lots, entries)


def test_real_readings_never_join_a_simulated_lot(home: Path) -> None:
    """Nor are lots of both kinds compared."""
    bring(home, whole_lot(home), "--simulated")
    real = bring(home, sheet(home, "L2601-01-A02,7.9,11.6", name="real.csv"))
    rows = [f"{unit.serial},{value!r},11.6" for unit, value in made_values("L2602", 1)]
    other = bring(home, sheet(home, *rows, name="other.csv"), lot="L2602")
    compared = run(home, "lot", "compare", "L2601", "L2602", "--population", "imported")

    assert "are simulated; a real run" in str(real.exception)
    assert 0 == other.exit_code
    assert "simulated and real units never go into one statistic" in str(compared.exception)


def test_unit_of_another_place_is_a_mistake_of_its_line(home: Path) -> None:
    """Without a plan the file says where a unit lies; the records know better."""
    with Records.open(home) as records:
        opened = replace(make_opened("X1", lot="L2601", simulated=False), unit=UnitId("X1", "L2601", "03", "A", "01"))
        records.open_run(opened)
    target = home.parent / "places.csv"
    target.write_text("SN,panel,R_ohm\nX1,04,7.9\nX2,04,7.9\n", encoding="utf-8")
    maps = ("--map", "SN=serial", "--map", "panel=panel", "--map", "R_ohm=R20", "--no-plan")
    error = run(home, "lot", "import", str(target), "--lot", "L2601", *maps, *WHO).exception

    assert "places.csv:2: serial: X1 is on record in lot L2601, panel 03" in str(error)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "cp1252"])
def test_file_of_an_old_spreadsheet_is_read(home: Path, encoding: str) -> None:
    """Windows-1252 too, and the text says so."""
    target = home.parent / "old.csv"
    target.write_bytes("SN;R (mohm);T (°C)\nL2601-01-A01;7900;20,0\n".encode(encoding))
    maps = ("--map", "SN=serial", "--map", "R (mohm)=R", "--map", "T (°C)=temperature")
    result = run(home, "lot", "import", str(target), "--lot", "L2601", *maps, *WHO)

    assert 0 == result.exit_code, result.exception
    assert ("Windows-1252" in result.output) == (encoding == "cp1252")
    assert "7.900 ohm" in result.output


@pytest.mark.parametrize("kind", [(), ("--supplier",)])
def test_report_of_imported_readings_shows_them_named_so(home: Path, kind: tuple[str, ...]) -> None:
    """No unit was measured here: the values against the limits are theirs, and so is the population."""
    run(home, "lot", "import", str(whole_lot(home)), "--lot", "L2601", *MAPS, *WHO)
    target = home.parent / "report.html"
    assert 0 == run(home, "lot", "report", "L2601", *kind, "--to", str(target)).exit_code
    text = target.read_text(encoding="utf-8")

    assert "No unit was measured here; imported readings of 96 units" in text
    assert "Imported readings against the limits" in text
    assert "units of the lot with an imported value (readings from a file, not measured here" in text
    assert "R20: no unit has a value" not in text
    assert "How much can be our bench" not in text


def test_report_of_a_lot_that_was_measured_too_shows_ours_only(home: Path) -> None:
    """One unit measured here: its value alone, never one sample with theirs."""
    run(home, "lot", "import", str(whole_lot(home)), "--lot", "L2601", *MAPS, *WHO, "--simulated")
    plan = read_plan(data_path("plans/IS-20.toml"))
    unit = made_values("L2601", 1)[0][0]
    with Records.open(home) as records:
        opened = replace(make_opened(unit.serial, lot="L2601"), unit=unit, plan_hash=plan.text_hash)
        records.open_run(opened)
        records.close_run(make_record(opened, r20_ohm=8.0, decision=Decision.PASS, results=1))
    target = home.parent / "report.html"
    run(home, "lot", "report", "L2601", "--to", str(target))
    text = target.read_text(encoding="utf-8")

    assert "1 unit, measured" in text
    assert "units of the lot with a measured value, fails included" in text
    assert "imported value" not in text
