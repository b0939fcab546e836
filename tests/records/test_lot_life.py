"""A lot's life on record: comes back as it was, one writer at a time, each unit counted once; on both databases."""

import threading
from collections.abc import Callable
from datetime import datetime

import pytest

from station.core.lot_life import LotChange, LotEvent, LotLife, PlaceCount, life_of
from station.core.results import Decision
from station.core.run_record import Purpose
from station.errors import LotError, RecordError
from station.records import AuditEntry, LaterDecision, Records
from station.records.lot_life import change_lot, lot_unit_standings, lots_received
from tests.records.makers import START, make_opened, make_record

OpenRecords = Callable[[], Records]


def receive(records: Records, quantity: int, *, lot: str = "L2641") -> LotLife:
    """Put on record that units came in."""
    return change_lot(records, lot, lambda life: LotEvent(LotChange.RECEIVED, "EN-02", START, quantity=quantity))[0]


def measure(
    records: Records, serial: str, decision: Decision, *, held: bool = False, purpose: Purpose = Purpose.PRODUCTION
) -> str:
    """Put a run on record; return its id."""
    opened = make_opened(serial, purpose=purpose)
    records.open_run(opened)
    records.close_run(make_record(opened, decision=decision, held=held, results=2))
    return opened.run_id


def test_life_comes_back_as_it_was_recorded(records: Records) -> None:
    """Every kind of event, with all that it holds; the chain is sound; other entries of the lot are no events."""
    counts = (PlaceCount("1", "good", 2, 2), PlaceCount("held", "", 1, 0))
    events = (
        LotEvent(LotChange.RECEIVED, "EN-02", START, "note 7", part="IS-20", quantity=5),
        LotEvent(LotChange.HELD, "EN-02", START, "wait"),
        LotEvent(LotChange.RELEASED, "EN-02", START, "go on"),
        LotEvent(LotChange.SCRAPPED, "EN-02", START, "broke", quantity=1, serials=("A",)),
        LotEvent(LotChange.PART_CLOSED, "EN-02", START, serials=("B",), counts=(PlaceCount("1", "good", 1, 1),)),
        LotEvent(LotChange.CLOSED, "EN-02", START, "one lost", counts=counts),
        LotEvent(LotChange.REOPENED, "EN-02", START, "came back", closing=2),
    )
    records.audit(who="EN-02", action="draw sample", subject="lot L2641", why="{}", utc=START)
    for each in events:
        change_lot(records, "L2641", lambda life, event=each: event)

    assert life_of("L2641", events) == records.lot_life("L2641")
    assert records.check().sound
    assert LotLife("L2642") == records.lot_life("L2642")
    assert ("L2641",) == lots_received(records)


def test_event_that_is_refused_leaves_nothing_on_record(records: Records) -> None:
    """A release of a lot that is not held."""
    with pytest.raises(LotError, match="not held"):
        change_lot(records, "L2641", lambda life: LotEvent(LotChange.RELEASED, "EN-02", START, "why"))

    assert () == records.audit_entries()


def test_life_of_a_newer_version_is_refused(records: Records) -> None:
    """Rather than read as if it said less."""
    records.audit(who="EN-02", action="lot held", subject="lot L2641", why='{"format": 2}', utc=START)
    with pytest.raises(RecordError, match="newer version"):
        records.lot_life("L2641")


def test_two_who_close_a_lot_at_once_close_it_once(open_records: OpenRecords) -> None:
    """Both saw it open; the second is told that it is closed."""
    first, second = open_records(), open_records()
    receive(first, 1)
    started, told = threading.Event(), list[str]()

    def close(life: LotLife) -> LotEvent:
        return LotEvent(LotChange.CLOSED, "EN-02", START, counts=(PlaceCount("1", "", 1, 1),))

    def slow(life: LotLife) -> LotEvent:
        started.set()
        waiting.join(0.2)
        return close(life)

    def late() -> None:
        started.wait(10)
        try:
            change_lot(second, "L2641", close)
        except LotError as error:
            told.append(str(error))

    waiting = threading.Thread(target=late)
    waiting.start()
    change_lot(first, "L2641", slow)
    waiting.join()

    assert 1 == len(told)
    assert "lot L2641 is closed" in told[0]
    assert 1 == len(first.lot_life("L2641").closings)


def test_entry_is_made_from_what_others_have_written_before(open_records: OpenRecords) -> None:
    """Eight writers count up from what they see: no number comes twice."""
    every = [open_records() for _ in range(4)]

    def count(records: Records) -> None:
        for _ in range(5):
            records.audit_from("n", lambda seen: AuditEntry(START, "EN-02", "count", "n", str(len(seen))))

    threads = [threading.Thread(target=count, args=(each,)) for each in every]
    for each in threads:
        each.start()
    for each in threads:
        each.join()

    assert [str(number) for number in range(20)] == [each.why for each in every[0].audit_entries(subject="n")]


def test_each_unit_stands_where_its_latest_decision_says(records: Records) -> None:
    """Measured twice: the latest counts; an engineering run does not; held; conceded; never measured in production."""
    measure(records, "A", Decision.FAIL)
    measure(records, "A", Decision.PASS)
    measure(records, "A", Decision.FAIL, purpose=Purpose.ENGINEERING)
    measure(records, "B", Decision.INVALID, held=True)
    run_id = measure(records, "C", Decision.FAIL)
    measure(records, "D", Decision.FAIL, purpose=Purpose.STUDY)
    records.judge_again(_conceded(run_id, START))
    found = {each.serial: each for each in lot_unit_standings(records, "L2641")}

    assert {"A", "B", "C", "D"} == set(found)
    assert (Decision.PASS, 1, False, False) == _in_short(found["A"])
    assert (Decision.INVALID, 9, True, False) == _in_short(found["B"])
    assert (Decision.FAIL, 3, False, True) == _in_short(found["C"])
    assert (None, 0, False, False) == _in_short(found["D"])
    assert () == lot_unit_standings(records, "L9999")


def test_run_under_way_does_not_hide_the_decision_before_it(records: Records) -> None:
    """A unit that is being measured again lies where it lay until the run has ended."""
    measure(records, "A", Decision.PASS)
    records.open_run(make_opened("A"))
    (found,) = lot_unit_standings(records, "L2641")

    assert Decision.PASS is found.decision


def _in_short(unit: object) -> tuple[object, ...]:
    return tuple(getattr(unit, name) for name in ("decision", "bin_number", "held", "conceded"))


def _conceded(run_id: str, utc: datetime) -> LaterDecision:
    return LaterDecision(
        run_id, "ab" * 32, Decision.FAIL, None, 3, "high R", False, (), "C-1", "EN-02", "customer agrees", utc
    )
