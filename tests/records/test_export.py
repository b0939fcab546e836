"""Exports of a lot: every column, safe in a spreadsheet, on both databases."""

import csv
import io
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from pyarrow import parquet

from station.core.results import Decision, Reason
from station.core.run_record import Purpose
from station.errors import RecordError
from station.records import Records
from station.records.export import spreadsheet_text, write_csv, write_parquet
from station.records.export_columns import FIXED, characteristic_columns
from station.records.placings import place_unit, take_out
from tests.records.makers import NO_CONTACT, START, make_opened, make_record


@pytest.fixture
def lot(records: Records) -> Records:
    """Records with three units: passed, failed and then passed, not measured and released."""
    for serial, decision, r20_ohm in (
        ("A", Decision.PASS, 7.9),
        ("B", Decision.FAIL, 9.5),
        ("B", Decision.PASS, 8.0),
        ("C", Decision.INVALID, None),
    ):
        opened = make_opened(serial)
        records.open_run(opened)
        record = make_record(opened, decision=decision, r20_ohm=r20_ohm, results=2, held=serial == "C")
        records.close_run(record)
    records.open_run(make_opened("B", purpose=Purpose.ENGINEERING))
    records.release_held("C", reason_code="x", who="EN-01", why="y", utc=START)
    return records


def test_csv_has_a_row_a_unit(lot: Records) -> None:
    """The latest production run of each unit, values as they are on record."""
    rows = _csv(lot)

    assert ["A", "B", "C"] == [row["serial"] for row in rows]
    assert ["7.9", "8.0", ""] == [row["R20 [ohm]"] for row in rows]
    assert [repr(7.9 * 1.96e-3), repr(8.0 * 1.96e-3), ""] == [row["U95(R20) [ohm]"] for row in rows]
    assert ["PASS", "PASS", "INVALID"] == [row["decision"] for row in rows]
    assert ["PASS", "PASS", "INVALID"] == [row["R20 [ohm]" + " decision"] for row in rows]
    assert ["false"] * 3 == [row["held"] for row in rows]
    assert ["", "", NO_CONTACT.code] == [row["reason_code"] for row in rows]


def test_csv_has_a_row_a_run_when_asked(lot: Records) -> None:
    """Every closed run; the open one is not there."""
    assert ["A", "B", "B", "C"] == [row["serial"] for row in _csv(lot, every_run=True)]


def test_export_of_unknown_lot_is_told(records: Records, tmp_path: Path) -> None:
    """A mistyped lot makes no empty file."""
    with pytest.raises(RecordError, match="'L9' is not on record"):
        write_csv(records, "L9", io.StringIO())
    with pytest.raises(RecordError, match="'L9' is not on record"):
        write_parquet(records, "L9", tmp_path / "lot.parquet")

    assert not (tmp_path / "lot.parquet").exists()


@pytest.mark.parametrize("words", ["=1+1", "+1", "-1+cmd", "@SUM(A1)", "\t=1", "\r=1", " =1", "＝1"])
def test_csv_text_is_no_formula(records: Records, words: str) -> None:
    """What a spreadsheet would compute is marked as text, in cells and headings."""
    opened = replace(make_opened("=A"), operator=words)
    record = make_record(opened, decision=Decision.FAIL, results=2)
    record = replace(record, reason=Reason("code", words), bin_name=words)
    records.open_run(opened)
    records.close_run(record)
    row = _csv(records)[0]

    assert ["'" + words] * 3 == [row["operator"], row["reason_words"], row["bin_name"]]
    assert "'=A" == row["serial"]


def test_csv_number_stays_a_number_when_negative() -> None:
    """Numbers are not texts: only texts get the mark."""
    assert ("-x" != spreadsheet_text("-x"), "L2641-01") == (True, spreadsheet_text("L2641-01"))


@pytest.mark.slow
def test_parquet_has_the_same_as_csv(lot: Records, tmp_path: Path) -> None:
    """Both formats hold the same table, Parquet with types."""
    path = tmp_path / "lot.parquet"
    count = write_parquet(lot, "L2641", path)
    rows = parquet.read_table(path).to_pylist()

    assert 3 == count
    assert [row["serial"] for row in _csv(lot)] == [row["serial"] for row in rows]
    assert [7.9, 8.0, None] == [row["R20 [ohm]"] for row in rows]
    assert list(_csv(lot)[0]) == list(rows[0])
    assert ["lot.parquet"] == [each.name for each in tmp_path.glob("lot.*")]


def test_parquet_without_its_library_is_told(records: Records, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A missing extra is told with the line that brings it."""
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(RecordError, match=r"Install coilgate\[parquet\]"):
        write_parquet(records, "L2641", tmp_path / "lot.parquet")


def test_parquet_in_missing_folder_is_told(lot: Records, tmp_path: Path) -> None:
    """A folder that isn't there is named."""
    with pytest.raises(RecordError, match="can't be written"):
        write_parquet(lot, "L2641", tmp_path / "none" / "lot.parquet")


def test_every_column_is_explained(lot: Records) -> None:
    """What an export has is what is documented, in that order, and no column lacks its words."""
    with lot.lot_rows("L2641") as table:
        columns = table.columns
    # The makers' unmeasured L stands in ohm.
    measured = (("L", "H"), ("L", "ohm"), ("R20", "ohm"))
    documented = (*FIXED, *(column for each in measured for column in characteristic_columns(*each)))

    assert documented == columns
    assert [] == [each.name for each in columns if not each.words]
    assert [each.name for each in columns] == list(_csv(lot)[0])


@pytest.mark.slow
def test_parquet_carries_what_each_column_holds(lot: Records, tmp_path: Path) -> None:
    """Whoever gets the file alone can still read it."""
    write_parquet(lot, "L2641", tmp_path / "lot.parquet")
    schema = parquet.read_schema(tmp_path / "lot.parquet")

    assert b"the pocket of that tray, from 1" == schema.field("pocket").metadata[b"description"]
    assert [] == [each.name for each in schema if not each.metadata[b"description"]]


def test_export_says_where_a_unit_lies_now(lot: Records) -> None:
    """Its latest pocket; nothing for one that was taken out, or never placed."""
    for serial, pocket in (("A", 3), ("A", 4), ("B", 5)):
        place_unit(lot, serial, "T7", decision=Decision.PASS, who="OP-07", why="sorted", utc=START, pocket=pocket)
    take_out(lot, ["B"], who="OP-07", why="shipped", utc=START)

    assert [("T7", "4"), ("", ""), ("", "")] == [(row["tray"], row["pocket"]) for row in _csv(lot)]


def _csv(records: Records, *, every_run: bool = False) -> list[dict[str, str]]:
    stream = io.StringIO(newline="")
    write_csv(records, "L2641", stream, every_run=every_run)
    return list(csv.DictReader(io.StringIO(stream.getvalue(), newline="")))
