"""The decision of a run, and the gates before a PASS."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.core.decide import decide
from station.core.equipment import Bench, FixtureSetup, InstrumentSetup
from station.core.fixture_life import NO_LIFE, FixtureLife
from station.core.gates import gate, overdue_instruments
from station.core.reasons import CAUSES, reason
from station.core.results import Decision, Judgement, Reason
from station.core.run_record import Purpose
from station.core.verification import Verification

PASS, FAIL, INVALID = Decision.PASS, Decision.FAIL, Decision.INVALID
DONE = datetime(2026, 10, 1, 8, 0, tzinfo=UTC)
VERIFIED = Verification(
    "v1", "bench-1", "1", "FIX-1", "IS-20", DONE, True, DONE + timedelta(hours=12), 500, "OP-07", ""
)


def asked(
    *,
    purpose: Purpose = Purpose.PRODUCTION,
    verification: Verification | None = VERIFIED,
    now_utc: datetime = DONE + timedelta(hours=1),
    units: int = 0,
    plan_released: bool = True,
    part: str = "IS-20",
    fixture_identity: str = "FIX-1",
    overdue: tuple[str, ...] = (),
    fixture_required: str = "",
    life: FixtureLife = NO_LIFE,
    plan_hash: str = "",
) -> str:
    """The code of what the gates say, empty if they let the run through."""
    found = gate(
        purpose,
        verification=verification,
        now_utc=now_utc,
        units_since_verification=units,
        plan_released=plan_released,
        part=part,
        fixture_identity=fixture_identity,
        calibration_overdue=overdue,
        fixture_required=fixture_required,
        life=life,
        plan_hash=plan_hash,
    )
    return "" if found is None else found.code


def judgement(decision: Decision | None, code: str = "") -> Judgement:
    """A judgement with its reason."""
    return Judgement("R20", decision, reason=reason(code) if code else None)


def test_gates_let_a_verified_production_run_through() -> None:
    """With everything in order there is no reason."""
    assert asked() == ""


@pytest.mark.parametrize("purpose", [each for each in Purpose if each is not Purpose.PRODUCTION])
def test_gates_close_for_every_other_purpose(purpose: Purpose) -> None:
    """Only production gives pass."""
    assert asked(purpose=purpose) == "not_production"


def test_gates_close_for_each_thing_that_is_missing() -> None:
    """One missing thing is enough."""
    assert asked(plan_released=False) == "plan_not_released"
    assert asked(verification=None) == "not_verified"
    assert asked(verification=replace(VERIFIED, verified=False)) == "verification_failed"
    assert asked(part="IS-21") == "other_part"
    assert asked(fixture_identity="FIX-2") == "other_fixture"
    assert asked(units=500) == "verification_used_up"
    assert asked(overdue=("lcr-1",)) == "calibration_overdue"


def test_gates_close_for_a_fixture_that_is_another_or_has_served_its_time() -> None:
    """The plan's own fixture, worn probes, a service since the verification; a cleaning that is due says nothing."""
    assert "" == asked(fixture_required="FIX-")
    assert "wrong_fixture" == asked(fixture_required="FIX-2")
    assert "wrong_fixture" == asked(fixture_required="FIX-", fixture_identity="")
    assert "probes_worn" == asked(life=FixtureLife(replace_due=True))
    assert "fixture_serviced" == asked(life=FixtureLife(serviced_since_verification=True))
    assert "" == asked(life=FixtureLife(clean_due=True))


def test_gates_close_for_another_revision_of_the_plan() -> None:
    """Verified with one text, another text proves nothing; a verification from before texts were kept stands."""
    verified = replace(VERIFIED, plan_hash="ab" * 32)

    assert "" == asked(verification=verified, plan_hash="ab" * 32)
    assert "other_plan" == asked(verification=verified, plan_hash="cd" * 32)
    assert "" == asked(plan_hash="cd" * 32)


def test_gates_know_the_ends_of_a_verification() -> None:
    """It holds from the moment it was done until just before its end; a clock set back closes the gate."""
    assert asked(now_utc=DONE) == ""
    assert asked(now_utc=DONE + timedelta(hours=12, microseconds=-1)) == ""
    assert asked(now_utc=DONE + timedelta(hours=12)) == "verification_expired"
    assert asked(now_utc=DONE - timedelta(seconds=1)) == "verification_expired"
    assert asked(units=499) == ""


def test_overdue_instruments_are_past_their_date() -> None:
    """The due date itself still counts; an instrument without a date is not overdue."""
    setups = tuple(
        InstrumentSetup(name, "lcr", name, "x", calibration_due=due)
        for name, due in (("a", date(2026, 9, 30)), ("b", date(2026, 10, 1)), ("c", None))
    )
    bench = Bench("bench-1", "1", False, setups, FixtureSetup())

    assert ("a",) == overdue_instruments(bench, date(2026, 10, 1))


@pytest.mark.parametrize(
    ("decisions", "expected"),
    [
        ([PASS, PASS], PASS),
        ([PASS, None], PASS),
        ([PASS, FAIL], FAIL),
        ([FAIL, INVALID], INVALID),
        ([PASS, INVALID], INVALID),
        ([], INVALID),
        ([None, None], INVALID),
    ],
)
def test_decide(decisions: list[Decision | None], expected: Decision) -> None:
    """INVALID before FAIL before PASS, and at least one characteristic must have been judged."""
    assert expected is decide([judgement(each) for each in decisions])[0]


def test_decide_gives_the_reason_of_the_first_judgement_that_decides() -> None:
    """The reason belongs to the decision, not to another judgement."""
    many = [judgement(PASS), judgement(FAIL, "above_upper"), judgement(INVALID, "overload")]

    assert (INVALID, reason("overload")) == decide(many)
    assert (FAIL, reason("above_upper")) == decide(many[:2])
    assert (INVALID, reason("nothing_judged")) == decide([])


def test_a_closed_gate_or_a_run_cut_short_gives_no_pass() -> None:
    """Good results alone are not enough; a run cut short is no FAIL either."""
    gate_reason, run_reason = reason("not_verified"), reason("stopped")

    assert (INVALID, gate_reason) == decide([judgement(PASS)], gate_reason=gate_reason)
    assert (INVALID, run_reason) == decide([judgement(PASS)], run_reason=run_reason)
    assert (INVALID, run_reason) == decide([judgement(FAIL, "above_upper")], run_reason=run_reason)


reasons = st.none() | st.sampled_from(sorted(CAUSES)).map(reason)


@given(
    decisions=st.lists(st.sampled_from([PASS, FAIL, INVALID, None]), max_size=6),
    gate_reason=reasons,
    run_reason=reasons,
)
def test_pass_only_when_all_is_well(
    decisions: list[Decision | None], gate_reason: Reason | None, run_reason: Reason | None
) -> None:
    """No PASS with a closed gate, a run cut short, a FAIL, an INVALID, or nothing judged."""
    decision, why = decide(
        [judgement(each) for each in decisions], gate_reason=gate_reason, run_reason=run_reason
    )
    well = PASS in decisions and set(decisions) <= {PASS, None} and gate_reason is None and run_reason is None

    assert well == (decision is PASS)
    assert decision is not PASS or why is None
