"""Revisions of a datasheet, the limits that keep its promise, and heating: from the record to the paper."""

import json
import shutil
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from station.app.accounts import AccountError
from station.app.datasheet import datasheet
from station.app.datasheet_revisions import record_revision, revisions_of
from station.cli.main import cli
from station.coil.heating import Drive, steady_state
from station.core.plan_file import parse_plan
from station.core.quantity import parse_quantity
from station.errors import RecordError
from station.quality.figure_intervals import Known
from station.records import Records
from station.reports.datasheet import Datasheet
from station.reports.datasheet_changes import MORE, WITHIN
from tests.cli.heated_lots import record_heated_lot
from tests.records.makers import START
from tests.reports.test_pdf import read_text

RECORD = ("--record", "--who", "EN-02", "--why", "two lots")


def _run(home: Path, *words: str) -> Result:
    return CliRunner().invoke(cli, ["--home", str(home), *words])


def _facts(home: Path, *words: str) -> dict:
    result = _run(home, *words, "--json")
    assert 0 == result.exit_code, result.output
    return json.loads(result.stdout)


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two lots with heating on record; copied, not changed."""
    folder = tmp_path_factory.mktemp("recorded")
    record_heated_lot(folder, "L2641")
    record_heated_lot(folder, "L2642", mean_ohm=8.1, seed=2)
    return folder


@pytest.fixture
def home(recorded: Path, tmp_path: Path) -> Path:
    """The two lots, to be changed."""
    shutil.copytree(recorded, tmp_path / "home")
    return tmp_path / "home"


def test_recorded_sheet_is_a_revision_and_a_new_lot_makes_a_draft(home: Path, tmp_path: Path) -> None:
    """Unchanged it stays what it is; the paper never passes for a revision that nobody recorded."""
    before = _facts(home, "datasheet", "make", "IS-20")
    first = _facts(home, "datasheet", "make", "IS-20", *RECORD)
    again = _facts(home, "datasheet", "make", "IS-20")
    record_heated_lot(home, "L2643", mean_ohm=8.05, seed=3)
    draft = _facts(home, "datasheet", "make", "IS-20", "--to", str(tmp_path / "draft.pdf"))
    paper = read_text((tmp_path / "draft.pdf").read_bytes())

    assert [None, 1, 1, None] == [each["revision"] for each in (before, first, again, draft)]
    assert ([], 1) == (again["changes"], draft["changes_from"])
    assert {"R20", "rise@2V"} <= {each["characteristic"] for each in draft["changes"]}
    assert ["two lots"] == [each["why"] for each in draft["revisions"]]
    assert "Draft of revision 2" in paper
    assert "EN-02" in paper


def test_unchanged_sheet_is_not_recorded_twice(home: Path) -> None:
    """A revision that says nothing new would only count."""
    _facts(home, "datasheet", "make", "IS-20", *RECORD)
    error = _run(home, "datasheet", "make", "IS-20", *RECORD).exception

    assert isinstance(error, RecordError)
    assert "nothing has changed since revision 1" in str(error)


def test_revision_needs_who_and_why(home: Path) -> None:
    """Nobody records anonymously."""
    assert 2 == _run(home, "datasheet", "make", "IS-20", "--record").exit_code
    with Records.open(home) as records, pytest.raises(RecordError, match="say --who and --why"):
        record_revision(records, datasheet(records, "IS-20"), who="EN-02", why=" ", utc=START)


@pytest.mark.parametrize("who", ["OP-07", "somebody"])
def test_only_an_engineer_signs_a_revision(home: Path, who: str) -> None:
    """What is promised to customers is no operator's to change; nothing is on record then."""
    result = _run(home, "datasheet", "make", "IS-20", "--record", "--who", who, "--why", "x")

    assert isinstance(result.exception, AccountError)
    assert [] == _facts(home, "datasheet", "make", "IS-20")["revisions"]


def test_revisions_are_in_the_digest_chain(home: Path) -> None:
    """What was promised can't be changed unseen."""
    _facts(home, "datasheet", "make", "IS-20", *RECORD)
    with Records.open(home) as records:
        report = records.check()

    assert report.sound


def _shifted(sheet: Datasheet, by: float) -> Datasheet:
    """The sheet with a typical R20 that lies higher, known to 0.01 ohm."""
    line = next(each for each in sheet.lines if each.name == "R20")
    value = line.stated.typical + by
    known = replace(line.known, typical=Known(value, value - 0.01, value + 0.01))
    moved = replace(line, stated=replace(line.stated, typical=value), known=known)
    return replace(sheet, lines=tuple(moved if each is line else each for each in sheet.lines))


@pytest.mark.parametrize(("by_ohm", "words"), [(0.012, WITHIN), (0.018, MORE), (-0.018, MORE)])
def test_change_is_set_against_its_own_interval(home: Path, by_ohm: float, words: str) -> None:
    """Two figures known to 0.01 ohm each differ by 0.0141 ohm at most by chance."""
    with Records.open(home) as records:
        sheet = _shifted(datasheet(records, "IS-20"), 0.0)
        record_revision(records, sheet, who="EN-02", why="first", utc=START)
        found = revisions_of(records, _shifted(sheet, by_ohm)).changes

    assert [("R20", "typical", words)] == [(each.name, each.figure, each.words) for each in found]
    assert by_ohm == pytest.approx((found[0].after or 0.0) - (found[0].before or 0.0))


def test_what_can_not_be_compared_is_said(home: Path) -> None:
    """A figure that is new or gone, a plan's limit, another coverage."""
    with Records.open(home) as records:
        sheet = datasheet(records, "IS-20")
        fewer = replace(sheet, lines=sheet.lines[:-1])
        record_revision(records, fewer, who="EN-02", why="first", utc=START)
        new = revisions_of(records, sheet).changes
        record_revision(records, sheet, who="EN-02", why="second", utc=START)
        gone = revisions_of(records, fewer).changes
        wider = revisions_of(records, datasheet(records, "IS-20", coverage=0.9)).changes

    assert {"now stated"} == {each.words for each in new}
    assert {"no longer stated"} == {each.words for each in gone}
    assert "other coverage or confidence" in {each.words for each in wider}
    assert {None} == {each.interval for each in (*new, *gone)}


def test_proposed_limits_are_the_printed_promise_less_the_benchs_uncertainty(home: Path, tmp_path: Path) -> None:
    """A plan made of them is sound, and accepts what keeps the promise though the bench errs by U."""
    fact = _facts(home, "datasheet", "limits", "IS-20", "--to", str(tmp_path / "limits.toml"))
    text = (tmp_path / "limits.toml").read_text(encoding="utf-8")
    tables = tomllib.loads(text)["characteristic"]
    sheet = _facts(home, "datasheet", "make", "IS-20")["characteristics"]
    with Records.open(home) as records:
        head = records.released_plans()[0].source_text.partition("[characteristic.R20]")[0]
    plan = parse_plan(head + text, "proposed.toml")

    assert text.startswith("# PROPOSED, not released")
    assert (False, text) == (fact["released"], fact["text"])
    for each in fact["limits"]:
        name, u = each["characteristic"], each["expanded_uncertainty"]
        found = plan.characteristic(name)
        assert found is not None
        assert (found.lower, found.upper, 1.0) == (each["lower"], each["upper"], found.guard.factor)
        for end, promised, sign in (("lower", "minimum", 1.0), ("upper", "maximum", -1.0)):
            if each[end] is None:
                continue
            assert parse_quantity(tables[name][end], each["unit"]) == each[end]
            assert each[end] == pytest.approx(sheet[name][promised], rel=1e-3)
            assert each[f"acceptance_{end}"] == pytest.approx(each[end] + sign * u)
    # The plan limits a rise above only, and so does the proposal.
    assert [None] == [each["lower"] for each in fact["limits"] if each["characteristic"] == "rise@2V"]


def test_hottest_coil_holds_for_every_unit(home: Path) -> None:
    """At its largest drive no unit on record passes the rise; it itself reaches it exactly."""
    heating = _facts(home, "datasheet", "make", "IS-20", "--rise", "30 K")["heating"]
    by_name = {each["coil"]: each for each in heating["coils"]}
    hottest = by_name["hottest"]
    with Records.open(home) as records:
        tables = {name: [records.lot_values(lot, name) for lot in ("L2641", "L2642")] for name in ("R20", "Rth@air")}
    coils = [
        (float(r20), float(rth))
        for a, b in zip(tables["R20"], tables["Rth@air"], strict=True)
        for r20, rth in zip(a.values, b.values, strict=True)
    ]

    assert [30.0, 57.0] == [each["rise_k"] for each in hottest["largest_drive"]]
    for each in hottest["largest_drive"]:
        drive = Drive(voltage_v=each["drive"])
        own = steady_state(hottest["R20"], drive, hottest["thermal_resistance_k_per_w"], 23.0)
        assert each["rise_k"] == pytest.approx(own.rise_k)
        assert max(steady_state(r20, drive, rth, 23.0).rise_k for r20, rth in coils) < each["rise_k"]
    drives = [by_name[name]["largest_drive"][-1]["drive"] for name in ("hottest", "typical", "coolest")]
    assert sorted(drives) == drives


def test_paper_shows_heating_limits_and_mounting(home: Path, tmp_path: Path) -> None:
    """As PDF and as HTML."""
    for name in ("IS-20.pdf", "IS-20.html"):
        assert 0 == _run(home, "datasheet", "make", "IS-20", "--to", str(tmp_path / name)).exit_code
    texts = (read_text((tmp_path / "IS-20.pdf").read_bytes()), (tmp_path / "IS-20.html").read_text(encoding="utf-8"))
    words = ("Rise over drive", "hottest", "mounted on: air", "limits that keep this promise (proposed)", "PROVISIONAL")

    for text in texts:
        assert [] == [each for each in words if each not in text]


@pytest.mark.parametrize(
    ("rise", "words"),
    [("30", "needs its unit"), ("-3 K", "must be above 0"), ("warm", "45 K"), ("30 V", "must be in K")],
)
def test_wrong_rise_is_told(home: Path, rise: str, words: str) -> None:
    """What would be right is said."""
    error = str(_run(home, "datasheet", "make", "IS-20", "--rise", rise).exception)

    assert error.startswith("--rise: ")
    assert words in error
