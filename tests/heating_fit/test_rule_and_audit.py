"""When a prediction may be believed, and how a full soak grants, renews and revokes that."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.heating_fit.audit import (
    AGREEING_TO_REGAIN,
    AuditState,
    Rise,
    after_early_stop,
    after_full_soak,
    soak_due,
)
from station.heating_fit.rule import ConfidenceRule, Target

SOAKED = Rise(30.0, 0.1)


def _agreed(state: AuditState) -> AuditState:
    return after_full_soak(state, Rise(30.2, 0.3), SOAKED, allowed_k=0.5)


def _disagreed(state: AuditState) -> AuditState:
    return after_full_soak(state, Rise(28.0, 0.3), SOAKED, allowed_k=0.5)


def test_rule_needs_the_hold() -> None:
    """Sure at 20 s, believed at 23 s."""
    rule = ConfidenceRule(Target(absolute_k=0.5))
    said = [rule.satisfied(time_s, 30.0, 0.19) for time_s in (20.0, 21.0, 22.0, 23.0)]

    assert [False, False, False, True] == said


@pytest.mark.parametrize("spread_k", [float("nan"), float("inf")])
def test_rule_never_believes_what_is_no_number(spread_k: float) -> None:
    """No number is not a small one, however long it holds."""
    rule = ConfidenceRule(Target(absolute_k=0.5))

    assert not any(rule.satisfied(float(time_s), 30.0, spread_k) for time_s in range(60))


def test_rule_begins_anew_after_a_doubt() -> None:
    """One uncertain look and the hold starts again."""
    rule = ConfidenceRule(Target(absolute_k=0.5))
    said = [
        rule.satisfied(time_s, 30.0, spread_k)
        for time_s, spread_k in ((20.0, 0.19), (22.0, 0.2), (23.0, 0.19), (25.9, 0.19), (26.0, 0.19))
    ]

    assert [False, False, False, False, True] == said


def test_target_as_fraction_follows_the_rise() -> None:
    """1 % of 40 K is 0.4 K."""

    assert 0.4 == pytest.approx(Target(fraction=0.01).allowed_k(40.0))


@pytest.mark.parametrize("both", [{}, {"absolute_k": 0.5, "fraction": 0.01}])
def test_target_is_one_of_two(both: dict[str, float]) -> None:
    """Neither and both are refused."""
    with pytest.raises(ValueError, match="exactly one"):
        Target(**both)


def test_first_unit_is_soaked_out() -> None:
    """No early stop before a full soak has shown that it is right."""

    assert soak_due(AuditState(), 25)


def test_one_in_n_is_soaked_out() -> None:
    """After an agreeing soak 24 units are stopped early, then one is soaked out again."""
    state = _agreed(AuditState())
    due = []
    for _ in range(25):
        due.append(soak_due(state, 25))
        state = after_early_stop(state)

    assert [False] * 24 + [True] == due


def test_disagreeing_soak_revokes_and_counts_the_doubtful() -> None:
    """The early stops since the last agreeing soak are in doubt, and every unit is soaked out from now on."""
    state = _agreed(AuditState())
    for _ in range(7):
        state = after_early_stop(state)
    state = _disagreed(state)

    assert (True, 7, True) == (state.revoked, state.doubtful, soak_due(state, 25))


def test_right_comes_back_after_five_agreeing_soaks() -> None:
    """Once revoked, one agreeing soak is not enough."""
    state = _disagreed(_agreed(AuditState()))
    due = []
    for _ in range(AGREEING_TO_REGAIN):
        state = _agreed(state)
        due.append(soak_due(state, 25))

    assert [True] * (AGREEING_TO_REGAIN - 1) + [False] == due


def test_soak_without_prediction_is_no_evidence() -> None:
    """A unit on which the rule would not have stopped grants nothing."""

    assert soak_due(after_full_soak(AuditState(), None, SOAKED, allowed_k=0.5), 25)


@given(st.lists(st.booleans(), max_size=60), st.integers(1, 30))
def test_never_more_early_stops_in_a_row_than_allowed(agree: list[bool], every: int) -> None:
    """Whatever the soaks say, early stops in a row stay below one in `every`."""
    state, row, longest = AuditState(), 0, 0
    for agrees in agree:
        if soak_due(state, every):
            state, row = (_agreed(state) if agrees else _disagreed(state)), 0
        else:
            state, row = after_early_stop(state), row + 1
        longest = max(longest, row)

    assert longest <= max(0, every - 1)
