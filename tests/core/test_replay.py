"""What a change of limits would do, against a direct computation from values and guard bands."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from station.core.plan import Characteristic, Plan
from station.core.plan_file import parse_plan
from station.core.replay import Side, StoredUnit, replay
from station.core.results import Decision, Result, ResultStatus
from tests.core.examples import IS_20_TEXT

PLAN = parse_plan(IS_20_TEXT, "IS-20.toml")
U95_OHM = 0.012
GOOD = {"R20": 7.9, "L": 11.6e-6, "B@1mm": 6.05e-3, "B@2mm": 4.2e-3, "B@4mm": 1.96e-3, "B@8mm": 0.54e-3}


def unit(
    resistance_ohm: float | None, *, decision: Decision = Decision.PASS, without: str = "", code: str = ""
) -> StoredUnit:
    """A unit judged under the shipped plan; `without`: a characteristic that was not due."""
    results = []
    for each in PLAN.characteristics:
        value = resistance_ohm if each.name == "R20" else GOOD[each.name]
        u95 = U95_OHM if each.name == "R20" else 1e-4 * GOOD[each.name]
        if value is None:
            results.append(Result(each.name, each.unit_symbol, ResultStatus.NOT_MEASURED))
        elif each.name == without:
            results.append(Result(each.name, each.unit_symbol, ResultStatus.NOT_DUE))
        else:
            results.append(Result(each.name, each.unit_symbol, ResultStatus.MEASURED, value, expanded_uncertainty=u95))
    return StoredUnit("s", "L2641", decision, code, 2, "mid R", tuple(results), PLAN)


def with_r20(lower: float, upper: float) -> Plan:
    """The shipped plan with other limits of R20."""

    def changed(each: Characteristic) -> Characteristic:
        return replace(each, lower=lower, upper=upper) if each.name == "R20" else each

    return replace(PLAN, characteristics=tuple(map(changed, PLAN.characteristics)), text_hash="other")


@given(st.lists(st.floats(6.0, 10.0), max_size=30), st.floats(6.8, 7.5), st.floats(8.0, 9.2))
def test_units_that_change_sides_are_those_of_a_direct_computation(
    values: list[float], lower: float, upper: float
) -> None:
    """PASS exactly if lower + U <= R20 <= upper - U (JCGM 106:2012, 8.3.2), everything else being good."""
    before = [6.8 + U95_OHM <= each <= 9.2 - U95_OHM for each in values]
    units = [unit(x, decision=Decision.PASS if good else Decision.FAIL) for x, good in zip(values, before)]
    outcome = replay(with_r20(lower, upper), units)
    direct = [lower + U95_OHM <= each <= upper - U95_OHM for each in values]

    assert [Side.PASS if each else Side.FAIL for each in direct] == [each.after for each in outcome.units]
    assert sum(a != b for a, b in zip(before, direct)) == len(outcome.changed)


def test_not_due_under_a_moved_limit_is_unknown() -> None:
    """What was never measured can't be said to pass a new limit; under one that stays, it stands."""
    moved = replay(with_r20(7.0, 9.0), [unit(None, without="R20")]).units[0]
    due_no_more = replay(with_r20(7.0, 9.0), [unit(7.9, without="B@8mm")]).units[0]
    not_due = replay(with_r20(7.0, 9.0), [unit(7.9, without="R20")]).units[0]

    assert [Side.UNKNOWN, Side.PASS, Side.UNKNOWN] == [each.after for each in (moved, due_no_more, not_due)]


def test_not_measured_stays_unknown_however_wide_the_limits() -> None:
    """INVALID never becomes PASS by moving a limit."""
    outcome = replay(with_r20(0.1, 99.0), [unit(None, decision=Decision.INVALID), unit(7.9, decision=Decision.INVALID)])

    assert [Side.UNKNOWN, Side.UNKNOWN] == [each.after for each in outcome.units]


def test_open_coil_stays_fail() -> None:
    """It has no values, and limits have nothing to do with it."""
    found = replay(with_r20(0.1, 99.0), [unit(None, decision=Decision.FAIL, code="coil_open")]).units[0]

    assert (Side.FAIL, False) == (found.after, found.changes_side)


def test_unit_of_an_unknown_plan_is_judged_anew_in_full() -> None:
    """If it is not known what it was judged under, every limit counts as moved."""
    found = replay(PLAN, [replace(unit(7.9, without="L"), plan=None)]).units[0]

    assert Side.UNKNOWN is found.after


def test_yield_and_bins_are_told_before_and_after() -> None:
    """Two units, one of which falls out."""
    outcome = replay(with_r20(6.8, 8.4), [unit(7.9), replace(unit(8.5), bin_number=3, bin_name="high R")])

    assert (1.0, 0.5) == (outcome.yield_fraction(after=False), outcome.yield_fraction(after=True))
    assert ((2, "mid R", 1, 1), (3, "high R", 1, 0), (90, "reject", 0, 1)) == outcome.bins()
