"""Deviation permits and concessions on record: what they let through, how they end, and that nothing passes by them."""

import threading
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import cast

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.app.concessions import Wanted, accept, candidates, close_ended, find, grant, withdraw
from station.app.judging_again import judge_lots_again
from station.app.lot_life import close_lot, close_part, hold_lot, receive_lot, scrap_units
from station.app.sorting import place_by_hand
from station.core.concession import ConcessionError, ConcessionKind, Standing
from station.core.lot_tally import tally
from station.core.plan_file import parse_plan
from station.core.results import Decision
from station.errors import RecordError, SerialError
from station.inspection import Hands, Inspection, PlanInUse, Request
from station.records import LaterDecision, Records
from station.records.conceded import conceded
from station.records.concessions import concede, latest_utc
from station.records.lot_life import lot_unit_standings
from station.records.placings import placing_of, tray_contents
from station.records.standing import lot_standing
from station.sequencer import RunBench
from tests.app.judged_lot import PLAN, measured, record_unit, release, serials
from tests.records.makers import START

NOW = START + timedelta(days=1)
VALUES = (8.0, 9.3, 9.4, 9.5, 9.7, None, 6.5, 8.1)
"""Pass, three that fit, one beyond, one not measured, one too low, pass."""
UNITS = serials(len(VALUES))
FIT = tuple(UNITS[1:4])
WANTED = Wanted(
    kind=ConcessionKind.CONCESSION,
    part="IS-20",
    characteristic="R20",
    lower="",
    upper="9.6 ohm",
    lot="L2641",
    quantity=None,
    expires="2026-12-31",
    customer_reference="CR-118",
    why="the driver has the voltage",
)


@pytest.fixture
def records(tmp_path: Path) -> Iterator[Records]:
    """A lot of eight units, five of them not pass."""
    with Records.open(tmp_path) as found:
        release(found)
        for serial, value in zip(UNITS, VALUES, strict=True):
            record_unit(found, serial, measured(value))
        yield found


def granted(records: Records, wanted: Wanted = WANTED) -> str:
    """Grant a concession and return its number."""
    return grant(records, wanted, who="EN-02", now_utc=NOW).number


def accepted(records: Records, number: str, units: list[str] = UNITS, *, now: datetime = NOW) -> tuple[str, ...]:
    """Accept what fits; return it."""
    return accept(records, number, units, who="EN-02", why="", now_utc=now).accepted


def test_accepted_units_stay_fail_and_are_counted_apart(records: Records) -> None:
    """Three of the five; yield and passed as before; a bin of their own; the records are sound."""
    before = records.lot_summary("L2641")
    number = granted(records)
    found = accept(records, number, UNITS, who="EN-02", why="", now_utc=NOW)
    after = records.lot_summary("L2641")
    later = records.later_decisions(records.runs_of(FIT[0])[-1].run_id)[-1]

    assert FIT == found.accepted
    assert set(UNITS) - set(FIT) == {serial for serial, _ in found.refused}
    assert (before.passed, before.failed, before.yield_fraction) == (after.passed, after.failed, after.yield_fraction)
    assert (0, 3) == (before.conceded, after.conceded)
    assert dict.fromkeys(FIT, number) == conceded(records, "L2641")
    assert (Decision.FAIL, number, 80, "concession") == (
        later.decision, later.concession, later.bin_number, later.bin_name,
    )  # fmt: skip
    assert Decision.PASS not in {each.decision for each in later.judgements if each.characteristic == "R20"}
    assert not set(FIT) & lot_standing(records, "L2641").passed
    assert records.check().sound


def test_accepted_unit_leaves_the_tray_of_rejects_on_record(records: Records) -> None:
    """Two lie there: the one that is accepted is out, and where it lay is told; the other stays."""
    for place, serial in enumerate((FIT[0], UNITS[4]), start=1):
        place_by_hand(records, serial, "T9", place, who="OP-07", why="rejects", utc=START)
    found = accept(records, granted(records), UNITS, who="EN-02", why="", now_utc=NOW)

    assert [UNITS[4]] == [each.serial for each in tray_contents(records, "T9")]
    assert {FIT[0]: ("T9", 1)} == {serial: (each.tray, each.pocket) for serial, each in found.lay.items()}
    assert placing_of(records, FIT[0]) is None
    assert records.check().sound


def test_each_refused_unit_is_told_why(records: Records) -> None:
    """Of those that fail: beyond the wide limits on either side."""
    number = granted(records)
    found = find(records, number).granted
    reasons = {each.unit.serial: each.why_not for each in candidates(records, found, "L2641")}

    assert {*FIT, UNITS[4], UNITS[6]} == set(reasons)
    assert all("not within the widened limits" in reasons[each] for each in (UNITS[4], UNITS[6]))


def test_quantity_ends_it(records: Records) -> None:
    """Two units, then it is used up, on record, and takes no third one."""
    number = granted(records, replace(WANTED, quantity=2))
    first = accepted(records, number)
    with pytest.raises(ConcessionError, match="is used up"):
        accepted(records, number)

    assert FIT[:2] == first
    assert Standing.USED_UP == find(records, number).ended


def test_its_day_ends_it_and_a_clock_set_back_revives_nothing(records: Records) -> None:
    """The day after, an attempt is refused; with the clock set back it is refused still, though nothing else came."""
    number = granted(records)
    after = datetime.fromisoformat("2027-01-01T00:00:00+00:00")
    with pytest.raises(ConcessionError, match="is expired"):
        accepted(records, number, now=after)
    with pytest.raises(ConcessionError, match="is expired"):
        accepted(records, number, now=NOW)

    assert {} == conceded(records, "L2641")


def test_time_on_record_counts_when_the_clock_was_set_back(records: Records) -> None:
    """Anything on record after its day shows that the day is over, whoever recorded it."""
    number = granted(records)
    later = datetime.fromisoformat("2027-03-01T00:00:00+00:00")
    records.audit(who="OP-07", action="cleaned", subject="bench-1", why="a day in spring", utc=later)
    with pytest.raises(ConcessionError, match="is expired"):
        accepted(records, number, now=NOW)

    assert later == latest_utc(records, NOW)


def test_withdrawn_one_takes_no_more_and_what_it_took_stays(records: Records) -> None:
    """Withdrawing is signed, once, and for good."""
    number = granted(records)
    accepted(records, number, UNITS[:2])
    withdraw(records, number, who="EN-02", why="the customer changed its mind", now_utc=NOW)
    with pytest.raises(ConcessionError, match="is withdrawn"):
        accepted(records, number)
    with pytest.raises(RecordError, match="has ended already"):
        withdraw(records, number, who="EN-02", why="again", now_utc=NOW)

    assert {UNITS[1]: number} == conceded(records, "L2641")


def test_two_writers_at_once_do_not_exceed_the_quantity(records: Records, tmp_path: Path) -> None:
    """Each has a connection of its own and both want all: as many as the quantity are accepted, no unit twice."""
    number = granted(records, replace(WANTED, quantity=2))
    together = threading.Barrier(2)
    found: list[tuple[str, ...]] = []

    def write(units: list[str]) -> None:
        with Records.open(tmp_path) as own:
            together.wait()
            try:
                found.append(accepted(own, number, units))
            except ConcessionError:  # the other one was through before this one began
                found.append(())

    threads = [threading.Thread(target=write, args=(units,)) for units in (list(FIT), list(FIT[::-1]))]
    for each in threads:
        each.start()
    for each in threads:
        each.join()

    assert 2 == sum(map(len, found)) == len({serial for each in found for serial in each})
    assert 2 == len(conceded(records, "L2641"))
    assert records.check().sound


@pytest.mark.parametrize("decision", [Decision.PASS, Decision.INVALID])
def test_records_refuse_a_concession_that_is_not_fail(records: Records, decision: Decision) -> None:
    """Whoever asks: what is accepted by concession was FAIL and stays so."""
    number = granted(records)
    run_id = records.runs_of(FIT[0])[-1].run_id
    later = LaterDecision(
        run_id, PLAN.text_hash, decision, None, 1, "low R", False, (), number, "EN-02", "a try", NOW
    )
    with pytest.raises(RecordError, match="stays FAIL"):
        concede(records, [(later, 0)])
    if decision is Decision.PASS:
        with pytest.raises(RecordError, match="never PASS"):
            records.judge_again(later)


@pytest.mark.parametrize("serial", [UNITS[0], UNITS[5]])
def test_records_refuse_to_concede_what_is_not_fail_now(records: Records, serial: str) -> None:
    """A unit that passes, and one that was not measured."""
    number = granted(records)
    run_id = records.runs_of(serial)[-1].run_id
    later = LaterDecision(
        run_id, PLAN.text_hash, Decision.FAIL, None, 80, "concession", False, (), number, "EN-02", "a try", NOW
    )
    (words,) = concede(records, [(later, 0)])

    assert "is not FAIL" in words
    assert () == records.later_decisions(run_id)


def test_decision_that_came_meanwhile_is_not_overlooked(records: Records) -> None:
    """Looked at before somebody judged it again: refused, and the other one of the same act is accepted."""
    number = granted(records)
    laters = []
    for serial in FIT[:2]:
        run_id = records.runs_of(serial)[-1].run_id
        laters.append(
            LaterDecision(
                run_id, PLAN.text_hash, Decision.FAIL, None, 80, "concession", False, (), number, "EN-02", "a", NOW
            )
        )
    records.judge_again(replace(laters[0], concession="", why="another look"))
    words = concede(records, [(each, 0) for each in laters])
    again = concede(records, [(laters[1], 1)])

    assert "is accepted already" in again[0]
    assert "another decision came meanwhile" in words[0]
    assert "" == words[1]
    assert {FIT[1]: number} == conceded(records, "L2641")


def test_unit_measured_again_is_no_longer_accepted(records: Records) -> None:
    """What counts is the latest run: a repeat that passes passes, one that fails needs the act again."""
    number = granted(records)
    accepted(records, number)
    record_unit(records, FIT[0], measured(8.9))
    record_unit(records, FIT[1], measured(9.4))

    assert {FIT[2]: number} == conceded(records, "L2641")
    assert (FIT[1],) == accepted(records, number)


def test_held_unit_is_not_accepted(records: Records) -> None:
    """An engineer releases it first; a unit held afterwards is not to be used either."""
    number = granted(records)
    records.hold(FIT[0], reason_code="other", who="EN-02", why="a look", utc=NOW)
    first = accepted(records, number)
    records.hold(FIT[1], reason_code="other", who="EN-02", why="a look", utc=NOW)

    assert FIT[1:] == first
    assert {FIT[2]: number} == conceded(records, "L2641")


def test_permit_is_for_what_is_not_made_yet(records: Records) -> None:
    """A lot on record takes a concession, a lot that isn't a permit; then its units fit."""
    with pytest.raises(ConcessionError, match="comes before"):
        granted(records, replace(WANTED, kind=ConcessionKind.DEVIATION_PERMIT))
    with pytest.raises(ConcessionError, match="it is a deviation permit"):
        granted(records, replace(WANTED, lot="L2650"))
    number = grant(
        records,
        replace(WANTED, kind=ConcessionKind.DEVIATION_PERMIT, lot="L2650"),
        who="EN-02",
        now_utc=START - timedelta(hours=1),
    ).number
    record_unit(records, "L2650-01-A01", measured(9.4))

    assert "DP-0001" == number
    assert ("L2650-01-A01",) == accepted(records, number, ["L2650-01-A01", FIT[0]])


def test_permit_for_a_quantity_is_not_for_units_measured_before(records: Records) -> None:
    """They were made before it: that takes a concession."""
    permit = replace(WANTED, kind=ConcessionKind.DEVIATION_PERMIT, lot="", quantity=5)
    number = granted(records, permit)
    reasons = {each.why_not for each in candidates(records, find(records, number).granted, "L2641")}

    assert {"it was made before the deviation permit was granted; that takes a concession"} == reasons


def test_judging_again_leaves_an_accepted_unit_unless_it_fails_by_more(records: Records) -> None:
    """Under wider L it stays accepted; under narrower L, by which it fails too, it is accepted no more."""
    number = granted(records)
    accepted(records, number)
    other = parse_plan(PLAN.source_text.replace('upper = "12.0 uH"', 'upper = "12.2 uH"'), "p")
    records.release_plan(other, who="EN-02", why="wider L", utc=NOW)
    judge_lots_again(records, other, ["L2641"], who="EN-02", why="wider L", utc=NOW)
    wider = conceded(records, "L2641")
    narrow = parse_plan(PLAN.source_text.replace('upper = "12.0 uH"', 'upper = "11.4 uH"'), "p")
    records.release_plan(narrow, who="EN-02", why="narrower L", utc=NOW)
    judge_lots_again(records, narrow, ["L2641"], who="EN-02", why="narrower L", utc=NOW)

    assert dict.fromkeys(FIT, number) == wider
    assert {} == conceded(records, "L2641")


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"upper": "9.6"}, "needs its unit"),
        ({"expires": "soon"}, "ends on a day"),
        ({"expires": "2027-01-31T12:00"}, "needs its offset"),
        ({"upper": ""}, "widens one of them"),
    ],
)
def test_wrong_words_are_refused(records: Records, changes: dict[str, str], words: str) -> None:
    """Each says what would be right."""
    with pytest.raises(ConcessionError, match=words):
        granted(records, replace(WANTED, **changes))  # type: ignore[arg-type]


def test_part_without_plan_is_refused(records: Records) -> None:
    """There is nothing to depart from."""
    with pytest.raises(RecordError, match="no plan of part"):
        granted(records, replace(WANTED, part="IS-99"))


def test_scan_of_an_accepted_unit_says_where_it_lies(records: Records) -> None:
    """Refused before anything at the bench is touched; never called a pass."""
    accepted(records, granted(records))
    nobody = cast(RunBench, object())
    inspection = Inspection(nobody, records, (PlanInUse(PLAN, released=True),), cast(Hands, object()), lambda: "")
    with pytest.raises(SerialError, match="accepted by concession CN-0001, bin 80"):
        inspection.inspect(FIT[0], Request("OP-07"))


def test_lot_of_another_part_is_refused(records: Records) -> None:
    """At the grant, not only when its units are looked at."""
    other = parse_plan(PLAN.source_text.replace('part = "IS-20"', 'part = "IS-21"'), "p")
    records.release_plan(other, who="EN-02", why="another part", utc=NOW)
    with pytest.raises(ConcessionError, match="is of part IS-20, not IS-21"):
        granted(records, replace(WANTED, part="IS-21"))


_ACTS = st.lists(
    st.tuples(
        st.sampled_from(["accept", "all", "withdraw", "hold", "measure"]),
        st.integers(0, len(UNITS) - 1),
        st.integers(-60, 90),
    ),
    max_size=8,
)


@pytest.mark.slow
@settings(max_examples=20, deadline=None)
@given(st.integers(1, 3), _ACTS)
def test_whatever_happens_it_lets_no_more_through(quantity: int, acts: list[tuple[str, int, int]]) -> None:
    """Clocks going back and forth, units held and measured again, withdrawn: its quantity and its end hold."""
    with TemporaryDirectory() as folder, Records.open(Path(folder)) as records:
        release(records)
        for serial, value in zip(UNITS, VALUES, strict=True):
            record_unit(records, serial, measured(value))
        before = records.lot_summary("L2641").passed
        number = grant(records, replace(WANTED, quantity=quantity), who="EN-02", now_utc=NOW).number
        used: set[str] = set()
        ended = False
        for act, place, days in acts:
            now = NOW + timedelta(days=days)
            done = _acted(records, number, act, place, now)
            over = act in ("accept", "all") and now >= find(records, number).granted.expires_utc
            ended = ended or act == "withdraw" or over
            assert not (ended and done)
            used.update(done)
            ended = ended or len(used) >= quantity
        accepted_now = conceded(records, "L2641")

        assert len(used) <= quantity
        assert set(accepted_now) <= used <= set(FIT)
        assert before == records.lot_summary("L2641").passed - _measured_good(acts)
        assert records.check().sound


def _measured_good(acts: list[tuple[str, int, int]]) -> int:
    """How many units more pass because they were measured again at the end."""
    return sum(1 for place in {place for act, place, _ in acts if act == "measure"} if VALUES[place] not in (8.0, 8.1))


def _acted(records: Records, number: str, act: str, place: int, now: datetime) -> tuple[str, ...]:
    """Do one thing; return what was accepted by it."""
    try:
        if act == "accept":
            return accepted(records, number, [UNITS[place]], now=now)
        if act == "all":
            return accepted(records, number, now=now)
        if act == "withdraw":
            withdraw(records, number, who="EN-02", why="a try", now_utc=now)
        elif act == "hold":
            records.hold(UNITS[place], reason_code="other", who="EN-02", why="a look", utc=NOW)
        else:
            record_unit(records, UNITS[place], measured(8.0))
    except (ConcessionError, RecordError):
        pass
    return ()


def test_ends_are_put_on_record_once(records: Records) -> None:
    """By the station itself, with who ended it and why."""
    granted(records)
    for _ in range(2):
        close_ended(records, datetime.fromisoformat("2027-02-01T00:00:00+00:00"))
    ends = [each for each in records.audit_entries(subject="CN-0001") if each.action == "end concession"]

    assert ["station"] == [each.who for each in ends]


def test_unit_of_a_closed_lot_is_not_accepted(records: Records) -> None:
    """Its numbers were counted and signed for: reopen it first."""
    number = granted(records)
    who, why = "EN-02", "counted"
    counts = {"1": 0, "2": 1, "3": 1, "90": 5, "held": 0, "unmeasured": 1, "99": 1}
    receive_lot(records, "L2641", len(UNITS), who=who, why="", utc=NOW)
    places = {each.place for each in tally(records.lot_life("L2641"), lot_unit_standings(records, "L2641")).places}
    close_lot(records, "L2641", {each: counts.get(each, 0) for each in places}, who=who, why=why, utc=NOW)
    found = accept(records, number, UNITS, who=who, why="", now_utc=NOW)

    assert () == found.accepted
    assert "lot L2641 is closed" in dict(found.refused)[FIT[0]]


def test_units_that_are_gone_or_whose_lot_is_held_are_not_accepted(records: Records) -> None:
    """Scrapped, shipped with a part, or of a lot that an engineer holds: nothing of them may change hands by it."""
    number = granted(records)
    receive_lot(records, "L2641", len(UNITS), part="IS-20", who="OP-07", utc=NOW)
    scrap_units(records, "L2641", [FIT[0]], who="EN-02", why="broken", utc=NOW)
    close_part(records, "L2641", {"90": 1}, serials=[FIT[1]], who="EN-02", why="sent back", utc=NOW)
    first = dict(accept(records, number, FIT[:2], who="EN-02", why="", now_utc=NOW).refused)
    hold_lot(records, "L2641", who="EN-02", why="bow of the panels", utc=NOW)
    second = dict(accept(records, number, FIT[2:], who="EN-02", why="", now_utc=NOW).refused)

    assert "it is scrapped" == first[FIT[0]]
    assert "it is in a part of lot L2641 that is closed; reopen that part first" == first[FIT[1]]
    assert "lot L2641 is held: bow of the panels; release it first" == second[FIT[2]]
    assert {} == conceded(records, "L2641")
