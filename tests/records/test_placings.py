"""Trays and pockets: one unit a pocket, good and bad never together, history kept; on both databases."""

import sqlite3
from pathlib import Path

import pytest

from station.core.results import Decision
from station.errors import RecordError
from station.records import Records
from station.records.placings import lot_pockets, place_unit, placing_of, take_out, tray_contents
from tests.records.makers import START, make_opened, make_record

PASS, FAIL = Decision.PASS, Decision.FAIL


@pytest.fixture
def lot(records: Records) -> Records:
    """Records with units A to E."""
    for serial in "ABCDE":
        opened = make_opened(serial)
        records.open_run(opened)
        records.close_run(make_record(opened, results=2))
    return records


def _place(
    records: Records,
    serial: str,
    *,
    tray: str = "T7",
    decision: Decision = PASS,
    pocket: int | None = None,
    pockets: int | None = None,
) -> int:
    return place_unit(
        records,
        serial,
        tray,
        decision=decision,
        who="OP-07",
        why="sorted",
        utc=START,
        pocket=pocket,
        pockets=pockets,
    )


def test_pockets_count_up_behind_the_last_that_is_taken(lot: Records) -> None:
    """As people fill a tray; a pocket that got free in the middle stays free."""
    found = [_place(lot, serial) for serial in "ABC"]
    take_out(lot, ["B"], who="EN-02", why="looked at", utc=START)

    assert [1, 2, 3] == found
    assert 4 == _place(lot, "D")
    assert [("A", 1), ("C", 3), ("D", 4)] == [(each.serial, each.pocket) for each in tray_contents(lot, "T7")]


def test_unit_lies_in_one_place_only(lot: Records) -> None:
    """Placed again it has left its former pocket, which another one may take."""
    _place(lot, "A")
    _place(lot, "A", tray="T8", pocket=5)
    found = placing_of(lot, "A")

    assert found is not None
    assert ("T8", 5) == (found.tray, found.pocket)
    assert () == tray_contents(lot, "T7")
    assert 1 == _place(lot, "B", pocket=1)


def test_pocket_is_taken_by_one_unit_only(lot: Records) -> None:
    """The message says who lies there."""
    _place(lot, "A")
    with pytest.raises(RecordError, match="tray T7, pocket 1: A lies there"):
        _place(lot, "B", pocket=1)

    assert placing_of(lot, "B") is None


@pytest.mark.parametrize(("first", "second"), [(PASS, FAIL), (FAIL, PASS), (PASS, Decision.INVALID)])
def test_units_that_pass_never_share_a_tray_with_others(lot: Records, first: Decision, second: Decision) -> None:
    """A bad unit in a tray of good ones is a wrong PASS by hand."""
    _place(lot, "A", decision=first)
    with pytest.raises(RecordError, match="never share a tray"):
        _place(lot, "B", decision=second)

    assert ["A"] == [each.serial for each in tray_contents(lot, "T7")]


def test_tray_that_was_emptied_takes_the_other_kind(lot: Records) -> None:
    """What lay there long ago doesn't count."""
    _place(lot, "A")
    take_out(lot, ["A"], who="EN-02", why="into a set", utc=START)

    assert 1 == _place(lot, "B", decision=FAIL)


def test_full_tray_is_told(lot: Records) -> None:
    """With what to do; a pocket that it doesn't have is refused too."""
    for serial in "AB":
        _place(lot, serial, pockets=2)
    with pytest.raises(RecordError, match=r"tray T7 is full \(2 pockets\)"):
        _place(lot, "C", pockets=2)
    with pytest.raises(RecordError, match="pockets 1 to 2; got 3"):
        _place(lot, "C", pocket=3, pockets=2)


def test_taking_out_is_all_or_nothing(lot: Records) -> None:
    """One that lies nowhere stops it for all."""
    _place(lot, "A")
    with pytest.raises(RecordError, match="B lies in no tray"):
        take_out(lot, ["A", "B"], who="EN-02", why="set", utc=START)

    assert placing_of(lot, "A") is not None


def test_placing_needs_who_why_and_a_known_unit(lot: Records) -> None:
    """A record that names nobody is none."""
    with pytest.raises(RecordError, match="say who"):
        place_unit(lot, "A", "T7", decision=PASS, who=" ", why="sorted", utc=START)
    with pytest.raises(RecordError, match="Z is not on record"):
        _place(lot, "Z")
    with pytest.raises(RecordError, match="Z is not on record"):
        take_out(lot, ["Z"], who="EN-02", why="set", utc=START)


def test_pockets_of_a_lot_are_its_own_units(lot: Records) -> None:
    """Without those taken out, and without another lot's."""
    other = make_opened("L2642-01-A01", lot="L2642")
    lot.open_run(other)
    lot.close_run(make_record(other, results=2))
    for serial in ("A", "B", "L2642-01-A01"):
        _place(lot, serial)
    take_out(lot, ["A"], who="EN-02", why="set", utc=START)

    assert {"B": ("T7", 2)} == lot_pockets(lot, ("L2641",))
    assert {"B", "L2642-01-A01"} == set(lot_pockets(lot, ("L2641", "L2642")))


def test_placings_are_in_the_digest_chain(lot: Records) -> None:
    """Placing and taking out: an entry each, proved by the check."""
    before = lot.check().entries
    _place(lot, "A")
    take_out(lot, ["A"], who="EN-02", why="set", utc=START)
    report = lot.check()

    assert report.sound
    assert before + 2 == report.entries


@pytest.mark.parametrize(
    ("statement", "what"),
    [
        ("UPDATE placing SET pocket = 2", "changed"),
        ("DELETE FROM placing", "removed"),
        (
            "INSERT INTO placing (unit_key, tray, pocket, decision, who, why, utc) "
            "SELECT unit_key, 'T9', 1, 'PASS', who, why, utc FROM placing",
            "inserted",
        ),
    ],
)
def test_edited_placing_is_found(tmp_path: Path, statement: str, what: str) -> None:
    """A unit moved among the good ones with a database editor is named by the check."""
    with Records.open(tmp_path) as records:
        opened = make_opened("A")
        records.open_run(opened)
        records.close_run(make_record(opened, results=2))
        _place(records, "A")
    connection = sqlite3.connect(tmp_path / "records.sqlite3")
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {name}")
    connection.execute(statement)
    connection.commit()
    connection.close()
    with Records.open(tmp_path) as records:
        faults = records.check().faults

    assert [(what, "placing")] == [(each.what, each.kind) for each in faults]
