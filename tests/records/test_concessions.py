"""Concessions on both databases: granted with a number, used within their quantity, counted, ended, in the chains."""

from dataclasses import replace
from datetime import timedelta

from station.core.concession import Concession, ConcessionKind, Standing
from station.core.results import Decision
from station.records import LaterDecision, Records
from station.records.conceded import conceded
from station.records.concessions import concede, concessions, end_concession, grant_concession, latest_utc
from tests.records.makers import START, make_opened, make_record

NOW = START + timedelta(days=1)
WANTED = Concession(
    "", ConcessionKind.CONCESSION, "IS-20", "R20", "ohm", 6.8, 9.6, "L2641", 1, NOW + timedelta(days=30), "CR-118",
    "a reason", "EN-02", NOW, 80, "concession",
)  # fmt: skip


def failed(records: Records, serial: str) -> str:
    """Put a unit that fails on record; return its run."""
    record = make_record(make_opened(serial), decision=Decision.FAIL)
    records.open_run(record.opened)
    records.close_run(record)
    return record.opened.run_id


def later(run_id: str, number: str) -> LaterDecision:
    """Return a decision that accepts a run's unit."""
    return LaterDecision(run_id, "ab" * 32, Decision.FAIL, None, 80, "concession", False, (), number, "EN-02", "a", NOW)


def test_concession_comes_back_as_granted_with_a_number_of_its_kind(records: Records) -> None:
    """Numbers count by kind; whatever was granted comes back whole."""
    first = grant_concession(records, WANTED)
    permit = grant_concession(records, replace(WANTED, kind=ConcessionKind.DEVIATION_PERMIT, lot="", upper=None))
    second = grant_concession(records, WANTED)

    assert ("CN-0001", "DP-0001", "CN-0002") == (first.number, permit.number, second.number)
    assert [first, permit, second] == [each.granted for each in concessions(records)]


def test_quantity_counts_units_and_the_lot_counts_them(records: Records) -> None:
    """One of two is accepted; the chains prove both decisions."""
    number = grant_concession(records, WANTED).number
    runs = [failed(records, f"L2641-01-A0{i}") for i in (1, 2)]
    words = concede(records, [(later(each, number), 0) for each in runs])

    assert ("", "concession CN-0001 is used up. Grant another one.") == words
    assert {"L2641-01-A01": number} == conceded(records, "L2641")
    assert (2, 1) == (records.lot_summary("L2641").failed, records.lot_summary("L2641").conceded)
    assert (number, Decision.FAIL) == (
        (found := records.runs_of("L2641-01-A01")[0]).concession, found.decision,
    )  # fmt: skip
    assert records.check().sound


def test_end_is_recorded_once_and_time_never_goes_back(records: Records) -> None:
    """The second end is none; the latest time on record is later than a clock that was set back."""
    number = grant_concession(records, WANTED).number
    first = end_concession(records, number, how=Standing.WITHDRAWN, who="EN-02", why="a reason", utc=NOW)
    second = end_concession(records, number, how=Standing.EXPIRED, who="station", why="over", utc=NOW)
    found = concessions(records)[0]

    assert (True, False) == (first, second)
    assert Standing.WITHDRAWN is found.standing(START)
    assert NOW == latest_utc(records, START)
