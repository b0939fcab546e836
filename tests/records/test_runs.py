"""Runs: opened, closed, read back; on both databases."""

import threading
from dataclasses import replace
from datetime import timedelta

import pytest

from station.core.results import Decision, Judgement, Reason
from station.core.run_record import Purpose
from station.errors import RecordError
from station.records import LaterDecision, Records
from tests.records.conftest import OpenRecords
from tests.records.makers import START, make_opened, make_record


def test_run_comes_back_whole_when_closed(records: Records) -> None:
    """Every result, term, judgement, trace, identity and message of a run comes back as it was."""
    record = make_record(make_opened(), verification_id="verification-1")
    records.open_run(record.opened)
    records.close_run(record)

    assert record == records.run(record.opened.run_id)


def test_run_comes_back_whole_when_invalid_and_empty(records: Records) -> None:
    """A run that ended before the first result is a record like any other."""
    whole = make_record(make_opened(), decision=Decision.INVALID, r20_ohm=None, held=True)
    bare = replace(whole, results=(), judgements=(), traces=(), identities=(), transcript=(), seed=None)
    records.open_run(bare.opened)
    records.close_run(bare)

    assert bare == records.run(bare.opened.run_id)


def test_run_keeps_judgement_when_it_has_no_result(records: Records) -> None:
    """A judgement stands on record even if nothing was measured for it."""
    record = make_record(make_opened(), results=2)
    record = replace(record, results=record.results[:1], judgements=record.judgements[::-1])
    records.open_run(record.opened)
    records.close_run(record)

    assert record == records.run(record.opened.run_id)


def test_close_run_numbers_each_bench_apart(records: Records) -> None:
    """The chain of each bench counts from one."""
    numbers = []
    for serial, bench in (("A", "bench-1"), ("B", "bench-2"), ("C", "bench-1")):
        record = make_record(make_opened(serial, bench=bench))
        records.open_run(record.opened)
        numbers.append(records.close_run(record))

    assert [1, 1, 2] == numbers


def test_close_run_refuses_second_close(records: Records) -> None:
    """A run is closed once; the second attempt leaves the first as it is."""
    record = make_record(make_opened())
    records.open_run(record.opened)
    records.close_run(record)
    with pytest.raises(RecordError, match=r"closed at 2026-.*never changed"):
        records.close_run(replace(record, decision=Decision.FAIL))

    assert record == records.run(record.opened.run_id)


def test_close_run_refuses_run_that_another_closed_since(open_records: OpenRecords) -> None:
    """Who opened a run can't close it after another program took it for dead and closed it."""
    first, second = open_records(), open_records()
    record = make_record(make_opened())
    first.open_run(record.opened)
    second.close_unfinished("bench-1", closed_utc=START)
    with pytest.raises(RecordError, match=r"closed at .*never changed"):
        first.close_run(record)

    assert Decision.INVALID == second.run(record.opened.run_id).decision
    assert second.check().sound


def test_close_run_works_after_it_was_refused(records: Records) -> None:
    """A refused close leaves the run open, to be closed rightly."""
    record = make_record(make_opened())
    records.open_run(record.opened)
    with pytest.raises(RecordError):
        records.close_run(replace(record, opened=replace(record.opened, operator="OP-08")))
    records.close_run(record)

    assert record == records.run(record.opened.run_id)
    assert [] == records.close_unfinished("bench-1", closed_utc=START)


def test_close_run_refuses_run_that_was_not_opened(records: Records) -> None:
    """What was never opened can't be closed."""
    with pytest.raises(RecordError, match="never opened"):
        records.close_run(make_record(make_opened()))


def test_close_run_refuses_run_opened_otherwise(records: Records) -> None:
    """A run can't change its operator, unit or plan on the way."""
    record = make_record(make_opened())
    records.open_run(record.opened)
    with pytest.raises(RecordError, match="opened with operator 'OP-07', closed with 'OP-08'"):
        records.close_run(replace(record, opened=replace(record.opened, operator="OP-08")))


def test_close_run_leaves_nothing_when_a_value_is_not_a_number(records: Records) -> None:
    """NaN, which a database would turn into nothing, is refused before anything is written."""
    record = make_record(make_opened(), r20_ohm=float("nan"))
    records.open_run(record.opened)
    with pytest.raises(RecordError, match="value of R20 is not a number"):
        records.close_run(record)

    assert [record.opened.run_id] == records.close_unfinished("bench-1", closed_utc=START)


def test_close_run_refuses_a_characteristic_twice(records: Records) -> None:
    """Two results for one characteristic are a mistake of the caller."""
    record = make_record(make_opened())
    records.open_run(record.opened)
    with pytest.raises(RecordError, match="'R20' comes twice"):
        records.close_run(replace(record, results=record.results + record.results[:1]))


def test_reason_keeps_what_a_database_can_when_garbled(records: Records) -> None:
    """A reply with NUL and half a surrogate, quoted in a reason, does not cost the record."""
    record = replace(make_record(make_opened()), reason=Reason("garbled", "got '\0\ud800µ'"))
    records.open_run(record.opened)
    records.close_run(record)
    reason = records.run(record.opened.run_id).reason

    assert reason == Reason("garbled", "got '\ufffd\ufffdµ'")


def test_open_run_refuses_same_id(records: Records) -> None:
    """An id is given once."""
    opened = make_opened()
    records.open_run(opened)
    with pytest.raises(RecordError, match="on record already"):
        records.open_run(opened)


@pytest.mark.parametrize("serial", ["", "a\nb", "x" * 201])
def test_open_run_refuses_serial_that_is_no_name(records: Records, serial: str) -> None:
    """A serial has 1 to 200 printable characters."""
    with pytest.raises(RecordError, match=r"serial .*printable"):
        records.open_run(make_opened(serial))


def test_open_run_refuses_real_unit_in_simulated_lot(records: Records) -> None:
    """Simulated and real units never mix in a lot."""
    records.open_run(make_opened("A"))
    with pytest.raises(RecordError, match=r"lot L2641: .* simulated; a real run of B"):
        records.open_run(make_opened("B", simulated=False))


def test_open_run_takes_reference_units_of_both_kinds_when_they_have_no_lot(records: Records) -> None:
    """Units without a lot belong together in nothing, so nothing mixes."""
    for serial, simulated in (("REF-1", True), ("REF-2", False)):
        records.open_run(make_opened(serial, lot="", purpose=Purpose.VERIFICATION, simulated=simulated))

    assert () == records.lots()


def test_open_run_refuses_serial_of_another_lot(records: Records) -> None:
    """One serial is one unit, in one lot."""
    records.open_run(make_opened("A"))
    with pytest.raises(RecordError, match="lot 'L2641', now lot 'L2642'"):
        records.open_run(make_opened("A", lot="L2642"))


def test_open_run_refuses_repeat_of_unknown_run(records: Records) -> None:
    """A repeat names a run that is on record."""
    with pytest.raises(RecordError, match="run nowhere is not on record"):
        records.open_run(make_opened(repeats_run_id="nowhere"))


def test_time_without_zone_is_refused(records: Records) -> None:
    """A local time on record would be read wrong elsewhere."""
    with pytest.raises(RecordError, match="no time zone"):
        records.open_run(replace(make_opened(), opened_utc=START.replace(tzinfo=None)))


def test_close_unfinished_makes_open_runs_invalid(open_records: OpenRecords) -> None:
    """What a dead station left open becomes INVALID "station stopped"; other benches are left alone."""
    first = open_records()
    dead, other = make_opened("A"), make_opened("B", bench="bench-2")
    for opened in (dead, other):
        first.open_run(opened)
    second = open_records()
    closed = second.close_unfinished("bench-1", closed_utc=START + timedelta(days=1))
    record = second.run(dead.run_id)

    assert [dead.run_id] == closed
    assert (Decision.INVALID, "station stopped", False) == (
        record.decision,
        record.reason.words if record.reason else "",
        record.drive_off_verified,
    )
    assert [] == second.close_unfinished("bench-1", closed_utc=START)
    assert second.check().sound


def test_run_is_refused_while_open_or_unknown(records: Records) -> None:
    """An open run has no record yet; an unknown one has none at all."""
    opened = make_opened()
    records.open_run(opened)
    with pytest.raises(RecordError, match="not closed yet"):
        records.run(opened.run_id)
    with pytest.raises(RecordError, match="not on record"):
        records.run("unknown")


def test_judge_again_adds_a_decision_and_keeps_the_first(records: Records) -> None:
    """The latest decision counts, the record of the run stays."""
    record = make_record(make_opened(), decision=Decision.FAIL)
    records.open_run(record.opened)
    records.close_run(record)
    later = LaterDecision(
        record.opened.run_id, "cd" * 32, Decision.PASS, None, 2, "second", False,
        (Judgement("R20", Decision.PASS, True, 6.0, float("inf")),), "", "EN-01", "wider limit", START,
    )  # fmt: skip
    place = records.judge_again(later)

    assert 1 == place
    assert (later,) == records.later_decisions(record.opened.run_id)
    assert record == records.run(record.opened.run_id)
    assert Decision.PASS == records.runs_of("L2641-01-A01")[0].decision
    assert 1 == records.lot_summary("L2641").passed
    assert records.check().sound


@pytest.mark.slow
def test_close_run_loses_nothing_when_threads_write_at_once(open_records: OpenRecords) -> None:
    """Four writers with a connection each: every acknowledged run is there, in one unbroken chain."""
    writers, runs = 4, 15
    numbers: list[int] = []
    open_records()

    def write(records: Records, writer: int) -> None:
        for place in range(runs):
            record = make_record(make_opened(f"U{writer}-{place}", run_id=f"run-{writer}-{place}"), results=2)
            records.open_run(record.opened)
            numbers.append(records.close_run(record))

    threads = [threading.Thread(target=write, args=(open_records(), writer)) for writer in range(writers)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    last = open_records()

    assert list(range(1, writers * runs + 1)) == sorted(numbers)
    assert writers * runs == last.lot_summary("L2641").passed
    assert last.check().sound
