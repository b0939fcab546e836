"""`coilgate sets` in people's hands: the plan's own wish, pick lists by tray, labels, scans, leftovers."""

import csv
import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from station.app.pick_list import Pick, walking_order
from station.app.set_papers import write_set_papers
from station.cli.main import cli
from station.core.results import Decision
from station.errors import RecordError, StationError
from station.records import Records
from station.records.placings import place_unit, placing_of
from tests.cli.lots import record_lot
from tests.records.makers import START
from tests.reports.test_pdf import read_text

RECORD = ("--record", "--who", "EN-02", "--why", "first shutters")


def _run(home: Path, *words: str, stdin: str = "") -> Result:
    return CliRunner().invoke(cli, ["--home", str(home), *words], input=stdin)


def _facts(home: Path, *words: str) -> dict:
    result = _run(home, *words, "--json")
    assert 0 == result.exit_code, result.output
    return json.loads(result.stdout)


@pytest.fixture
def home(two_lots: Path, tmp_path: Path) -> Path:
    """The two lots, to be changed."""
    shutil.copytree(two_lots, tmp_path / "home")
    return tmp_path / "home"


def _place(home: Path, serials: list[str]) -> None:
    """Put units into trays of ten, T2, T10, T11 and so on, the last first."""
    with Records.open(home) as records:
        for i, serial in enumerate(reversed(serials)):
            tray = f"T{2 if i < 10 else 9 + i // 10}"
            place_unit(records, serial, tray, decision=Decision.PASS, who="OP-07", why="sorted", utc=START)


def test_plan_says_size_and_tolerance(home: Path) -> None:
    """Without options; an option goes before the plan, and the text says who asked."""
    usual, larger = _facts(home, "sets", "make", "L2641"), _facts(home, "sets", "make", "L2641", "--size", "4")

    assert (3, ["R20"], "control plan IS-20 revision 1") == (
        usual["size"],
        [each["characteristic"] for each in usual["quantities"]],
        usual["asked"],
    )
    assert (4, 0.01) == (larger["size"], larger["quantities"][0]["within"])
    assert "as asked for, else control plan IS-20 revision 1" == larger["asked"]
    assert 3 == _facts(home, "sets", "classes", "L2641")["size"]


def test_walk_takes_up_each_tray_once_and_ends_with_what_has_no_pocket() -> None:
    """T2 before T10; pockets in order within."""
    picks = [
        Pick("T10", 1, "A", "S1", 1),
        Pick("", 0, "B", "S1", 2),
        Pick("T2", 9, "C", "S2", 1),
        Pick("T2", 3, "D", "S2", 2),
    ]

    assert ["D", "C", "A", "B"] == [each.serial for each in walking_order(picks)]


def test_pick_list_is_in_tray_order(home: Path, tmp_path: Path) -> None:
    """Each unit once, with tray, pocket, set and place; the same on paper."""
    made = _facts(home, "sets", "make", "L2641", *RECORD)
    taken = [serial for each in made["sets"] for serial in each["serials"]]
    _place(home, sorted(taken))
    picks = _facts(home, "sets", "pick", "L2641", "--to", str(tmp_path / "pick.csv"))["picks"]
    rows = list(csv.DictReader((tmp_path / "pick.csv").read_text(encoding="utf-8").splitlines()))
    walk = [(int(row["tray"][1:]), int(row["pocket"])) for row in rows]
    _run(home, "sets", "pick", "L2641", "--to", str(tmp_path / "pick.pdf"))
    paper = read_text((tmp_path / "pick.pdf").read_bytes())

    assert sorted(walk) == walk
    assert sorted(taken) == sorted(row["serial"] for row in rows)
    assert [each["serial"] for each in picks] == [row["serial"] for row in rows]
    by_set = {each["set"]: each["serials"] for each in made["sets"]}
    assert [] == [row for row in rows if by_set[row["set"]][int(row["place"]) - 1] != row["serial"]]
    assert [] == [each for each in ("SIMULATED", "T2", taken[0], made["sets"][0]["set"]) if each not in paper]


def test_pick_list_names_units_that_are_good_no_more(home: Path, tmp_path: Path) -> None:
    """Held since the sets were recorded, it still lies in its pocket: whoever walks along is told to leave it."""
    taken = _facts(home, "sets", "make", "L2641", *RECORD)["sets"][0]["serials"]
    with Records.open(home) as records:
        records.hold(taken[1], reason_code="odd", who="EN-02", why="looks odd", utc=START)
    picks = _facts(home, "sets", "pick", "L2641", "--to", str(tmp_path / "pick.csv"))["picks"]
    rows = list(csv.DictReader((tmp_path / "pick.csv").read_text(encoding="utf-8").splitlines()))
    said = _run(home, "sets", "pick", "L2641", "--to", str(tmp_path / "pick.pdf")).output
    paper = read_text((tmp_path / "pick.pdf").read_bytes())

    assert {taken[1]: "is held: set it aside"} == {each["serial"]: each["trouble"] for each in picks if each["trouble"]}
    assert {taken[1]: "is held: set it aside"} == {each["serial"]: each["trouble"] for each in rows if each["trouble"]}
    assert "1 unit is good no more" in said
    assert "is held: set it aside" in paper


def test_labels_of_sets_and_bags(home: Path, tmp_path: Path) -> None:
    """One a set, or one a unit."""
    made = _facts(home, "sets", "make", "L2641", *RECORD)
    sets = _facts(home, "sets", "labels", "L2641", "--to", str(tmp_path / "sets.pdf"))
    bags = _facts(
        home, "sets", "labels", "L2641", "--bags", "--set", made["sets"][0]["set"], "--to", str(tmp_path / "bags.pdf")
    )
    text, bag_text = (read_text((tmp_path / f"{each}.pdf").read_bytes()) for each in ("sets", "bags"))

    assert (len(made["sets"]), 3) == (sets["labels"], bags["labels"])
    assert [] == [each["set"] for each in made["sets"] if each["set"] not in text]
    assert made["made"] == text.count("SIMULATED")
    assert [] == [each for each in (*made["sets"][0]["serials"], "unit 3 of 3", "R20") if each not in bag_text]


def test_labels_need_a_set_on_record(home: Path, tmp_path: Path) -> None:
    """A label of a proposal would outlive it."""
    none = _run(home, "sets", "labels", "L2641", "--to", str(tmp_path / "a.pdf")).exception
    _facts(home, "sets", "make", "L2641", *RECORD)
    other = _run(home, "sets", "labels", "L2641", "--set", "X", "--to", str(tmp_path / "a.pdf")).exception
    ending = _run(home, "sets", "labels", "L2641", "--to", str(tmp_path / "a.csv")).exception

    assert isinstance(none, RecordError)
    assert isinstance(other, RecordError)
    assert isinstance(ending, StationError)
    assert "set 'X' is not on record" in str(other)


@pytest.mark.slow
def test_papers_of_recorded_sets_are_written_at_once(home: Path, tmp_path: Path) -> None:
    """What the demo ends with besides the lot's papers; without a set nothing is written."""
    with Records.open(home) as records, pytest.raises(RecordError, match="no set is on record"):
        write_set_papers(records, "L2641", tmp_path)
    made = _facts(home, "sets", "make", "L2641", *RECORD)
    with Records.open(home) as records:
        papers = dict(write_set_papers(records, "L2641", tmp_path))
    texts = [read_text(each.read_bytes()) for each in papers.values()]

    assert ["Pick list", "Labels"] == list(papers)
    assert [] == [each["set"] for each in made["sets"] for text in texts if each["set"] not in text]


def _label(name: str, serials: list[str]) -> str:
    return f"set {name}; lot L2641; part IS-20; units {', '.join(serials)}; SIMULATED"


def test_label_says_which_set_is_meant(home: Path) -> None:
    """Two units of another set are then wrong, though they are more; from the scanner, a line a scan."""
    first, second = _facts(home, "sets", "make", "L2641", *RECORD)["sets"][:2]
    label = _label(first["set"], first["serials"])
    good = _run(home, "sets", "assemble", "-", stdin="\n".join([label, *first["serials"]]))
    wrong = _run(home, "sets", "assemble", label, first["serials"][0], *second["serials"][:2])

    assert 0 == good.exit_code, good.output
    assert f"Set {first['set']} is complete" in good.stdout
    assert 2 == wrong.exit_code
    assert f"Set {first['set']} is NOT complete" in wrong.stdout
    assert f"wrong: {second['serials'][0]} belongs to set {second['set']}" in wrong.stdout


@pytest.mark.parametrize("wrong", ["other units", "unknown set", "two labels"])
def test_label_that_does_not_fit_the_record_is_told(home: Path, wrong: str) -> None:
    """An old label on a new set must not make a wrong set look right."""
    first, second = _facts(home, "sets", "make", "L2641", *RECORD)["sets"][:2]
    scans = {
        "other units": [_label(first["set"], second["serials"])],
        "unknown set": [_label("L2641-S9999", first["serials"])],
        "two labels": [_label(each["set"], each["serials"]) for each in (first, second)],
    }[wrong]
    error = _run(home, "sets", "assemble", *scans, *first["serials"]).exception

    assert isinstance(error, RecordError)
    assert {"other units": "Print it again", "unknown set": "not on record", "two labels": "One set after"}[
        wrong
    ] in str(error)


def test_complete_set_leaves_its_trays_when_somebody_says_so(home: Path) -> None:
    """With a badge, and only if it is complete."""
    first = _facts(home, "sets", "make", "L2641", *RECORD)["sets"][0]
    _place(home, first["serials"])
    _run(home, "sets", "assemble", *first["serials"][:2], "--who", "OP-07")
    with Records.open(home) as records:
        before = [placing_of(records, each) for each in first["serials"]]
    _run(home, "sets", "assemble", *first["serials"], "--who", "OP-07")
    with Records.open(home) as records:
        after = [placing_of(records, each) for each in first["serials"]]

    assert None not in before
    assert [None] * 3 == after


def test_scrapped_unit_and_held_lot_make_no_complete_set(home: Path) -> None:
    """They were good when the set was made; what counts is now."""
    first = _facts(home, "sets", "make", "L2641", *RECORD)["sets"][0]["serials"]
    why = ("--who", "EN-02", "--why", "x")
    scrap = _run(home, "lot", "scrap", "L2641", first[0], *why)
    scrapped = _run(home, "sets", "assemble", *first)
    hold = _run(home, "lot", "hold", "L2641", *why)
    held = _run(home, "sets", "assemble", *first)

    assert [0, 0] == [each.exit_code for each in (scrap, hold)], scrap.output + hold.output
    assert [2, 2] == [each.exit_code for each in (scrapped, held)]
    assert f"wrong: {first[0]} is scrapped" in scrapped.stdout
    assert f"wrong: {first[1]} is of lot L2641, which is held" in held.stdout


def test_leftovers_of_a_held_lot_are_left_alone(home: Path) -> None:
    """Nor do they stop the next lot's sets."""
    _facts(home, "sets", "make", "L2641", "--tolerance", "R20=0.05 %", *RECORD)
    _run(home, "lot", "hold", "L2641", "--who", "EN-02", "--why", "x")

    assert ["L2642"] == _facts(home, "sets", "make", "L2642", "--leftovers")["lots"]


def test_dissolved_set_frees_its_units_and_keeps_its_name(home: Path) -> None:
    """They are proposed again, under a new name; the old label fits no set any more; all of it in the chain."""
    made = _facts(home, "sets", "make", "L2641", *RECORD)
    first, last = made["sets"][0], made["sets"][-1]["set"]
    freed = _facts(home, "sets", "dissolve", first["set"], "--who", "EN-02", "--why", "dropped one")
    again = _facts(home, "sets", "make", "L2641", *RECORD)
    shown = _facts(home, "sets", "show", "L2641")["sets"]
    old = _run(home, "sets", "assemble", _label(first["set"], first["serials"])).exception
    with Records.open(home) as records:
        sound = records.check().sound

    assert first["serials"] == freed["units"]
    assert [f"{last[:-4]}{int(last[-4:]) + 1:04d}"] == [each["set"] for each in again["sets"]]
    assert set(first["serials"]) <= {*again["sets"][0]["serials"], *again["left"]}
    assert first["set"] not in shown
    assert isinstance(old, RecordError)
    assert sound


def test_only_a_recorded_set_is_dissolved_and_once(home: Path) -> None:
    """All or nothing."""
    first = _facts(home, "sets", "make", "L2641", *RECORD)["sets"][0]["set"]
    why = ("--who", "EN-02", "--why", "x")
    wrong = _run(home, "sets", "dissolve", first, "L2641-S9999", *why).exception
    kept = first in _facts(home, "sets", "show", "L2641")["sets"]
    _facts(home, "sets", "dissolve", first, *why)
    twice = _run(home, "sets", "dissolve", first, *why).exception

    assert kept
    assert isinstance(wrong, RecordError)
    assert isinstance(twice, RecordError)


def test_leftovers_of_an_earlier_lot_join_the_next_one(home: Path) -> None:
    """Only of lots that sets were made from: a lot that waits for its own sets is left alone."""
    alone = _facts(home, "sets", "make", "L2642", "--leftovers")
    first = _facts(home, "sets", "make", "L2641", "--tolerance", "R20=0.05 %", *RECORD)
    both = _facts(home, "sets", "make", "L2642", "--leftovers")

    assert ["L2642"] == alone["lots"]
    assert ["L2641", "L2642"] == both["lots"]
    assert len(first["left"]) + alone["candidates"] == both["candidates"]
    assert both["sets"][0]["set"].startswith("L2642-S")


def test_lot_without_a_wish_is_told_how_to_ask(tmp_path: Path) -> None:
    """A plan without [sets], and no options."""
    record_lot(tmp_path, "L2641", 1)
    with Records.open(tmp_path) as records:
        text = records.released_plans()[0].source_text.partition("# A shutter takes")[0]
    (tmp_path / "plain.toml").write_text(text, encoding="utf-8")
    _run(tmp_path, "plan", "release", str(tmp_path / "plain.toml"), "--who", "EN-02", "--why", "no sets")
    error = _run(tmp_path, "sets", "make", "L2641").exception

    assert isinstance(error, StationError)
    assert "control plan IS-20 revision 2 says nothing of sets. Say --size and --tolerance" in str(error)
