"""Deviation permits and concessions: nothing of them passes, and none of them turns back."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.core.concession import (
    Concession,
    ConcessionError,
    ConcessionKind,
    Standing,
    judgements_under,
    refusal,
    require_grantable,
    standing,
    widened,
)
from station.core.decide import decide
from station.core.limits import judge
from station.core.results import Decision, Result, ResultStatus
from tests.core.examples import is_20

PLAN = is_20()
NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)
WANTED = Concession(
    number="",
    kind=ConcessionKind.CONCESSION,
    part="IS-20",
    characteristic="R20",
    unit_symbol="ohm",
    lower=6.8,
    upper=9.6,
    lot="L2641",
    quantity=3,
    expires_utc=NOW + timedelta(days=30),
    customer_reference="CR-118",
    why="the driver has the voltage",
    who="EN-02",
    granted_utc=NOW,
    bin_number=80,
    bin_name="concession",
)
MIDDLES = {each.name: ((each.lower or 0.0) + (each.upper or 0.0)) / 2 for each in PLAN.characteristics}

values = st.floats(5.0, 11.0)
u95s = st.floats(0.0, 0.6)
decisions = st.sampled_from(Decision)
statuses = st.sampled_from(ResultStatus)


def results(r20_ohm: float, u95_ohm: float = 0.01, *, r20: ResultStatus = ResultStatus.MEASURED) -> tuple[Result, ...]:
    """Return results in the middle of their limits, R20 apart."""
    made = []
    for each in PLAN.characteristics:
        value = r20_ohm if each.name == "R20" else MIDDLES[each.name]
        status = r20 if each.name == "R20" else ResultStatus.MEASURED
        known = value if status is ResultStatus.MEASURED else None
        u95 = u95_ohm if each.name == "R20" else value * 1e-4
        made.append(Result(each.name, each.unit_symbol, status, known, expanded_uncertainty=u95))
    return tuple(made)


def refused(found: Concession, given_results: tuple[Result, ...], *, decision: Decision = Decision.FAIL) -> str:
    """Return why a unit is not accepted."""
    return refusal(found, PLAN, decision=decision, reason_code="above_upper", results=given_results)


def test_unit_within_the_widened_limits_can_be_accepted() -> None:
    """FAIL by R20 alone, 9.4 ohm of 9.6 ohm allowed."""
    assert "" == refused(WANTED, results(9.4))


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (results(9.7), "not within the widened limits"),
        (results(9.595, 0.02), "by the guard band"),
        (results(8.0), "does not fail by R20"),
        (results(9.4, r20=ResultStatus.NOT_MEASURED), "R20 was not measured"),
        (results(9.4, r20=ResultStatus.NOT_DUE), "does not fail by R20"),
    ],
)
def test_others_are_refused_with_the_reason(found: tuple[Result, ...], words: str) -> None:
    """Outside, within the guard band, passing, not measured, not due."""
    assert words in refused(WANTED, found)


def test_unit_that_fails_by_something_else_too_is_refused() -> None:
    """A concession of R20 says nothing of L."""
    both = tuple(replace(each, value=14e-6) if each.characteristic == "L" else each for each in results(9.4))

    assert "it fails by L too" == refused(WANTED, both)


def test_open_coil_is_refused_whatever_the_limits() -> None:
    """Its decision is FAIL, but nothing is known of it."""
    assert "open" in refusal(WANTED, PLAN, decision=Decision.FAIL, reason_code="coil_open", results=results(9.4))


@given(values, u95s, decisions, statuses)
def test_only_a_measured_fail_is_accepted_and_stays_fail(
    r20_ohm: float, u95_ohm: float, decision: Decision, status: ResultStatus
) -> None:
    """Whatever is accepted was FAIL, is within the widened limits by the guard band, and is still judged FAIL."""
    given_results = results(r20_ohm, u95_ohm, r20=status)
    words = refused(WANTED, given_results, decision=decision)
    if words == "":
        assert Decision.FAIL is decision
        assert ResultStatus.MEASURED is status
        assert 6.8 + u95_ohm <= r20_ohm <= 9.6 - u95_ohm
        assert Decision.FAIL is decide(judgements_under(PLAN, given_results))[0]


@given(values, u95s)
def test_not_measured_is_never_accepted(r20_ohm: float, u95_ohm: float) -> None:
    """INVALID is about us: no value of any run that ended so is known."""
    assert "" != refused(WANTED, results(r20_ohm, u95_ohm), decision=Decision.INVALID)


@given(values, u95s)
def test_outside_the_widened_limits_is_never_accepted(r20_ohm: float, u95_ohm: float) -> None:
    """Inside or within the guard band of the wide limits: judged as the plan judges."""
    r20 = PLAN.characteristic("R20")
    assert r20 is not None
    wide = judge(widened(r20, WANTED), results(r20_ohm, u95_ohm)[0])
    if wide.decision is not Decision.PASS:
        assert "" != refused(WANTED, results(r20_ohm, u95_ohm))


@given(st.integers(0, 6), st.integers(-40, 80), st.integers(0, 80))
def test_it_is_in_force_only_until_its_day_and_quantity(used: int, days: int, further: int) -> None:
    """And what is not in force at one time is not in force at any later one, with as many units or more."""
    at = NOW + timedelta(days=days)
    now = standing(WANTED, used=used, ended="", latest_utc=at)
    later = standing(WANTED, used=used, ended="", latest_utc=at + timedelta(days=further))

    assert (now is Standing.IN_FORCE) == (days < 30 and used < 3)
    assert now is Standing.IN_FORCE or later is not Standing.IN_FORCE


@given(st.integers(-4000, 4000), st.integers(0, 6), st.sampled_from([Standing.EXPIRED, Standing.WITHDRAWN]))
def test_recorded_end_stands_at_any_time(days: int, used: int, ended: Standing) -> None:
    """No clock brings it back."""
    assert ended is standing(WANTED, used=used, ended=ended.value, latest_utc=NOW + timedelta(days=days))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"lot": "", "quantity": None}, "a lot or a quantity"),
        ({"quantity": 0}, "1 or more"),
        ({"expires_utc": NOW}, "later than now"),
        ({"why": " "}, "needs a reason"),
        ({"customer_reference": ""}, "customer's reference"),
        ({"upper": 9.2}, "widens one of them"),
        ({"upper": 9.0}, "is narrower"),
        ({"lower": 7.0}, "is narrower"),
        ({"upper": None}, "must be alike"),
        ({"characteristic": "R21"}, "has no limits of R21"),
        ({"bin_number": 1}, "never lie among others"),
        ({"bin_number": 90}, "never lie among others"),
        ({"bin_number": 99}, "never lie among others"),
    ],
)
def test_what_can_not_be_granted_is_refused(changes: dict[str, object], words: str) -> None:
    """Each with what would be right."""
    with pytest.raises(ConcessionError, match=words):
        require_grantable(replace(WANTED, **changes), PLAN, latest_utc=NOW)  # type: ignore[arg-type]


def test_wider_limits_for_a_lot_are_granted() -> None:
    """Nothing is raised."""
    require_grantable(WANTED, PLAN, latest_utc=NOW)


def test_unit_without_a_result_of_what_its_plan_limits_is_not_accepted() -> None:
    """Judged again under a plan that limits more than was ever measured: what is not known is never accepted."""
    known = tuple(each for each in results(9.4) if each.characteristic != "L")

    assert "L was not measured" == refused(WANTED, known)
