"""Where units stand, what a lot comes to; on both databases."""

from datetime import timedelta

import pytest

from station.core.results import Decision
from station.core.run_record import Purpose
from station.errors import RecordError
from station.records import Records
from tests.records.makers import NO_CONTACT, START, make_opened, make_record

_LATER = START + timedelta(days=1)


def _measure(
    records: Records,
    serial: str,
    decision: Decision,
    *,
    purpose: Purpose = Purpose.PRODUCTION,
    r20_ohm: float | None = 7.9,
    held: bool = False,
    panel: str = "01",
    repeats: str = "",
) -> str:
    opened = make_opened(serial, purpose=purpose, panel=panel, repeats_run_id=repeats)
    records.open_run(opened)
    records.close_run(make_record(opened, decision=decision, r20_ohm=r20_ohm, held=held))
    return opened.run_id


def test_unit_state_is_none_when_unknown(records: Records) -> None:
    """A serial nobody measured has no state, no runs, and is not held."""
    assert (None, [], False) == (records.unit_state("A"), records.runs_of("A"), records.is_held("A"))


def test_unit_state_has_last_decision_and_values(records: Records) -> None:
    """The latest production run decides; its R20 and L are what a repeat is compared with."""
    _measure(records, "A", Decision.FAIL, r20_ohm=9.5)
    last = _measure(records, "A", Decision.PASS, r20_ohm=7.9)
    _measure(records, "A", Decision.FAIL, purpose=Purpose.ENGINEERING, r20_ohm=1.0)
    state = records.unit_state("A")
    assert state is not None
    r20, inductance = state.last("R20"), state.last("L")
    assert r20 is not None
    assert inductance is not None

    assert (Decision.PASS, last, 1, "good") == (
        state.decision,
        state.run_id,
        state.bin_number,
        state.bin_name,
    )
    assert (7.9, 7.9 * 1.96e-3, last) == (r20.value, r20.expanded_uncertainty, r20.run_id)
    assert (28.7e-6, "H") == (inductance.value, inductance.unit_symbol)


def test_unit_state_counts_invalid_runs_since_decided(records: Records) -> None:
    """INVALID production runs after the last PASS or FAIL count; that decision stays known."""
    _measure(records, "A", Decision.INVALID, r20_ohm=None)
    decided = _measure(records, "A", Decision.FAIL)
    for _ in range(2):
        _measure(records, "A", Decision.INVALID, r20_ohm=None)
    state = records.unit_state("A")
    assert state is not None

    assert (2, Decision.INVALID, NO_CONTACT) == (state.invalid_runs, state.decision, state.reason)
    assert (Decision.FAIL, decided) == (state.decided, state.decided_run_id)


def test_unit_state_of_open_run_is_undecided(records: Records) -> None:
    """A run that is still open decides nothing."""
    records.open_run(make_opened("A"))
    state = records.unit_state("A")
    assert state is not None

    assert (None, None, "", 0) == (state.decision, state.decided, state.run_id, state.invalid_runs)
    assert [None] == [each.closed_utc for each in records.runs_of("A")]


def test_runs_of_lists_every_run_in_order(records: Records) -> None:
    """Runs of every purpose are listed as they were opened, with what they repeat."""
    first = _measure(records, "A", Decision.INVALID)
    second = _measure(records, "A", Decision.PASS, purpose=Purpose.STUDY, repeats=first)
    listed = records.runs_of("A")

    assert [(first, ""), (second, first)] == [(each.run_id, each.repeats_run_id) for each in listed]
    assert [Purpose.PRODUCTION, Purpose.STUDY] == [each.purpose for each in listed]


def test_held_unit_stays_held_until_released(records: Records) -> None:
    """Another run does not let a held unit go; an engineer does, and INVALID runs are counted anew."""
    _measure(records, "A", Decision.INVALID, held=True)
    _measure(records, "A", Decision.INVALID)
    held = records.is_held("A")
    records.release_held("A", reason_code="cleaned", who="EN-01", why="pads cleaned", utc=_LATER)
    state = records.unit_state("A")
    assert state is not None

    assert (True, False, 0) == (held, state.held, state.invalid_runs)


def test_hold_works_outside_of_a_run(records: Records) -> None:
    """An engineer may hold any unit on record, once."""
    _measure(records, "A", Decision.PASS)
    records.hold("A", reason_code="bench_drift", who="EN-01", why="reference unit failed", utc=START)
    with pytest.raises(RecordError, match="held already"):
        records.hold("A", reason_code="again", who="EN-01", why="again", utc=START)

    assert records.is_held("A")


@pytest.mark.parametrize(
    ("serial", "who", "words"),
    [("B", "EN-01", "not on record"), ("A", "EN-01", "not held"), ("A", " ", "say who")],
)
def test_release_held_is_refused_when_there_is_nothing_to_release(
    records: Records, serial: str, who: str, words: str
) -> None:
    """Unknown or not held units and nameless decisions are refused."""
    _measure(records, "A", Decision.PASS)
    with pytest.raises(RecordError, match=words):
        records.release_held(serial, reason_code="x", who=who, why="y", utc=START)


def test_lot_summary_counts_each_unit_once(records: Records) -> None:
    """The latest production decision of each unit counts; other purposes don't."""
    _measure(records, "A", Decision.PASS)
    _measure(records, "B", Decision.FAIL)
    _measure(records, "C", Decision.INVALID, held=True)
    _measure(records, "D", Decision.INVALID)
    _measure(records, "D", Decision.PASS)
    _measure(records, "E", Decision.FAIL, purpose=Purpose.ENGINEERING)
    records.open_run(make_opened("F"))
    lot = records.lot_summary("L2641")

    assert (4, 2, 1, 1, 1) == (lot.units, lot.passed, lot.failed, lot.invalid, lot.held)
    assert (2 / 3, 1 / 4, 5) == (lot.yield_fraction, lot.first_pass_fraction, lot.runs)
    assert [(1, "good", 2), (8, "scrap", 1), (9, "hold", 1)] == [(b.number, b.name, b.units) for b in lot.bins]
    assert ("L2641",) == records.lots()


def test_lot_summary_of_lot_without_decision_has_no_yield(records: Records) -> None:
    """Nothing decided is no yield, which is not a yield of nought."""
    records.open_run(make_opened("A"))
    lot = records.lot_summary("L2641")

    assert (0, None, None) == (lot.units, lot.yield_fraction, lot.first_pass_fraction)


def test_lot_summary_of_unknown_lot_is_told(records: Records) -> None:
    """A mistyped lot is no empty lot."""
    with pytest.raises(RecordError, match="lot 'L9' is not on record"):
        records.lot_summary("L9")


def test_lot_values_has_last_measured_value_of_each_unit(records: Records) -> None:
    """Units are in order of first opening; what was not measured is not there."""
    _measure(records, "B", Decision.FAIL, r20_ohm=9.5)
    _measure(records, "A", Decision.PASS, r20_ohm=7.1)
    _measure(records, "B", Decision.PASS, r20_ohm=8.0)
    _measure(records, "B", Decision.INVALID, r20_ohm=None)
    _measure(records, "C", Decision.INVALID, r20_ohm=None)
    values = records.lot_values("L2641", "R20")

    assert (("B", "A"), [8.0, 7.1], ("PASS", "PASS"), "ohm") == (
        values.serials,
        values.values.tolist(),
        values.decisions,
        values.unit_symbol,
    )
    assert 8.0 * 1.96e-3 == values.expanded_uncertainties[0]
    assert 0 == len(records.lot_values("L2641", "rise@3V").values)


def test_positions_count_decided_units_of_lot_and_panel(records: Records) -> None:
    """A unit is numbered when it is first decided; a repeat keeps its number."""
    _measure(records, "A", Decision.PASS)
    _measure(records, "B", Decision.INVALID)
    _measure(records, "C", Decision.FAIL, panel="02")
    _measure(records, "A", Decision.FAIL)

    assert (2, 1) == records.positions("L2641", "01")
    assert (2, 0) == records.positions("L2641", "03", serial="B")
    assert (0, 0) == records.positions("L2641", "01", serial="A")
    assert (1, 0) == records.positions("L2641", "02", serial="C")
    assert (0, 0) == records.positions("L9999", "01")
