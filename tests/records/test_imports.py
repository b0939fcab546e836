"""Imported runs: all or none, once a file, in the digest chain; and a lot's rows for its page; on both databases."""

from dataclasses import replace

import pytest

from station.core.results import Decision, Reason
from station.core.run_record import Purpose, RunRecord, UnitId
from station.errors import RecordError
from station.records import Records
from station.records.imports import ACTION, BENCH, add_imported, places_on_record, readings_subject
from station.records.lot_findings import lot_findings, lot_plan_hash
from station.records.lot_measured import RUN_COLUMNS, lot_measured
from tests.records.makers import START, make_opened, make_record


def imported(serial: str, *, r20_ohm: float = 7.0, simulated: bool = False) -> RunRecord:
    """Return an imported run of a unit of lot L2641."""
    opened = replace(make_opened(serial, bench=BENCH, purpose=Purpose.IMPORTED, simulated=simulated), nest="")
    record = make_record(opened, r20_ohm=r20_ohm, decision=Decision.INVALID, results=2)
    return replace(record, reason=Reason("imported", "board maker"), judgements=(), bin_number=0, bin_name="")


def bring(records: Records, *runs: RunRecord, digest: str = "ab" * 32, again: bool = False) -> int:
    """Import runs as those of one file."""
    return add_imported(records, iter(runs), digest=digest, facts={"file": "x"}, who="EN-02", utc=START, again=again)


def measure(records: Records, serial: str, decision: Decision, *, held: bool = False, r20_ohm: float = 8.0) -> str:
    """Put a production run on record; return its id."""
    opened = make_opened(serial, simulated=False)
    records.open_run(opened)
    records.close_run(make_record(opened, decision=decision, held=held, results=2, r20_ohm=r20_ohm))
    return opened.run_id


def test_imported_runs_come_back_and_are_in_the_chain(records: Records) -> None:
    """As any other run; the file's own entry says how many."""
    runs = [imported("A"), imported("B")]

    assert 2 == bring(records, *runs)
    assert runs == [records.run(each.opened.run_id) for each in runs]
    assert records.check().sound
    assert [ACTION] == [each.action for each in records.audit_entries(subject=readings_subject("ab" * 32))]
    assert {"A": UnitId("A", "L2641", "01", "A", "01")} == places_on_record(records, ["A", "Z"])


def test_import_that_fails_in_the_middle_leaves_nothing(records: Records) -> None:
    """The second run is of another purpose; the first is not on record either, nor is the file."""
    other = imported("B")
    other = replace(other, opened=replace(other.opened, purpose=Purpose.PRODUCTION))
    with pytest.raises(RecordError, match="only imported runs"):
        bring(records, imported("A"), other)

    assert ((), (), []) == (records.lots(), records.audit_entries(), records.runs_of("A"))
    assert 2 == bring(records, imported("A"), imported("B"))


def test_same_file_is_refused_a_second_time(records: Records) -> None:
    """Unless it is asked for; another file is another matter."""
    bring(records, imported("A"))
    with pytest.raises(RecordError, match="imported already, by EN-02"):
        bring(records, imported("A"))

    assert [1, 1] == [bring(records, imported("A"), again=True), bring(records, imported("A"), digest="cd" * 32)]


def test_real_readings_do_not_join_a_simulated_lot(records: Records) -> None:
    """Nor the other way."""
    bring(records, imported("A", simulated=True))
    with pytest.raises(RecordError, match="units on record are simulated"):
        bring(records, imported("B"), digest="cd" * 32)


def test_our_run_counts_before_an_imported_one_that_came_later(records: Records) -> None:
    """Value, decision and plan are of what we measured; the unit that only they measured is counted as imported."""
    measure(records, "A", Decision.PASS, r20_ohm=8.5)
    theirs = [imported(each) for each in ("A", "B")]
    theirs = [replace(each, opened=replace(each.opened, plan_hash="cd" * 32)) for each in theirs]
    bring(records, *theirs)
    found = lot_findings(records, "L2641", ["R20"])

    assert ([8.5, 7.0], ("PASS", "INVALID"), ("", ""), 1) == (
        found.values["R20"].tolist(), found.decisions, found.codes, found.imported
    )  # fmt: skip
    assert "ab" * 32 == lot_plan_hash(records, "L2641")
    assert 1 == records.lot_summary("L2641").units
    assert [7.0, 7.0] == records.lot_values("L2641", "R20", purpose=Purpose.IMPORTED).values.tolist()


def test_page_rows_are_of_the_latest_closed_production_run(records: Records) -> None:
    """Imported and open runs are passed over; held is now; results by characteristic and unit."""
    measure(records, "A", Decision.FAIL)
    second = measure(records, "A", Decision.PASS, r20_ohm=8.5)
    records.open_run(make_opened("A", simulated=False))
    measure(records, "B", Decision.INVALID, held=True)
    bring(records, imported("C"))
    found = lot_measured(records, "L2641")
    rows = [dict(zip(RUN_COLUMNS, each, strict=True)) for each in found.runs]

    assert [("A", "PASS", 0, second), ("B", "INVALID", 1)] == [
        (rows[0]["serial"], rows[0]["decision"], rows[0]["held"], rows[0]["run_id"]),
        (rows[1]["serial"], rows[1]["decision"], rows[1]["held"]),
    ]
    assert 8.5 == found.results[0]["R20", "ohm"][0]
    assert (("L", "H"), ("R20", "ohm")) == found.characteristics
    with pytest.raises(RecordError, match="not on record"):
        lot_measured(records, "L9999")
