"""Consumer's risk as measured on 20,000 simulated units near the limits, beside the one that the plan states."""

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import pytest

from sim.lot import truth_near
from sim.noise import key, normal
from station.app.lot_units import replay_lots
from station.core.limits import judge
from station.core.plan import Bin, BinFor, Characteristic, Guard
from station.core.plan_file import parse_plan
from station.core.replay import Side
from station.core.results import Decision, Result
from station.data import data_path
from station.inspection import PlanInUse
from tests.end_to_end.truth import limits, measure, shipped_plan
from tests.station.verification_bench import verification_bench

BENCHES, UNITS = 1_000, 20
"""A bench's systematic error is one draw: 20,000 units on 1,000 of them."""

LOWER, UPPER = 7.86, 7.94
MEAN, DEVIATION = 7.9, 0.02
"""Limits two standard deviations from the mean and eight standard uncertainties: one unit in 22 is out, and as many
again are so near a limit that the bench can't tell."""


@dataclass(frozen=True, slots=True)
class Measured:
    """A unit's true R20 and the result of its run."""

    true_ohm: float
    result: Result

    @property
    def out(self) -> bool:
        """Whether the unit is out of tolerance."""
        return not LOWER <= self.true_ohm <= UPPER


def judged_by(guard: Guard) -> Characteristic:
    """R20 with the limits of this test and a guard band."""
    return replace(limits(shipped_plan().plan, "R20"), lower=LOWER, upper=UPPER, guard=guard)


def bare_plan() -> PlanInUse:
    """The shipped plan's contact and resistance, without guard band."""
    shipped = shipped_plan()
    bins = (Bin(1, "pass"), Bin(90, "reject", BinFor.FAIL), Bin(99, "hold", BinFor.HOLD))
    plan = replace(
        shipped.plan, steps=shipped.plan.steps[:2], characteristics=(judged_by(Guard(0.0)),), bins=bins
    )
    return replace(shipped, plan=plan)


@lru_cache(maxsize=1)
def measured_units(home: Path) -> tuple[Measured, ...]:
    """All units, each run on one of the benches, whose errors are drawn from what they declare."""
    found = []
    for seed in range(BENCHES):
        truths = [MEAN + DEVIATION * normal(key("stated risk", seed, i)) for i in range(UNITS)]
        units = [
            truth_near(f"L2641-01-{'AB'[i // 12]}{1 + i % 12:02d}", resistance_20_ohm=each)
            for i, each in enumerate(truths)
        ]
        for true_ohm, record in zip(truths, measure(units, seed=seed, home=home, plan=bare_plan()), strict=True):
            (result,) = (each for each in record.results if each.characteristic == "R20")
            found.append(Measured(true_ohm, result))
    return tuple(found)


@pytest.fixture(scope="module")
def units(tmp_path_factory: pytest.TempPathFactory) -> tuple[Measured, ...]:
    """The 20,000 units, measured once for all rules."""
    return measured_units(tmp_path_factory.mktemp("home"))


def accepted(units: tuple[Measured, ...], guard: Guard) -> list[Measured]:
    """The units that pass under a guard band."""
    rule = judged_by(guard)
    return [each for each in units if judge(rule, each.result).decision is Decision.PASS]


def share_out(units: list[Measured]) -> float:
    """The share of units that are out of tolerance."""
    return sum(each.out for each in units) / len(units)


@pytest.mark.slow
@pytest.mark.parametrize("stated", [0.003, 0.001, 0.0003])
def test_global_consumers_risk_is_at_or_below_the_stated_one(units: tuple[Measured, ...], stated: float) -> None:
    """Units that are out and accepted, of all; simple acceptance lets several times more through."""
    guard = Guard(0.0, global_risk=stated, process_mean=MEAN, process_deviation=DEVIATION)
    escaped = tuple(each for each in accepted(units, Guard(0.0)) if each.out)
    # A guard band accepts nothing that simple acceptance does not: only those need to be judged again.
    guarded = len(accepted(escaped, guard)) / len(units)
    simple = len(escaped) / len(units)
    print(f"global: stated {stated:.3%}, measured {guarded:.3%}; simple acceptance {simple:.3%}")

    assert BENCHES * UNITS == len(units)
    assert guarded <= stated + 4.0 * math.sqrt(stated / len(units))
    assert simple > 0.005


@pytest.mark.slow
@pytest.mark.parametrize("stated", [0.2, 0.05, 0.025])
def test_specific_consumers_risk_is_at_or_below_the_stated_one(units: tuple[Measured, ...], stated: float) -> None:
    """Of the accepted units read next to an acceptance limit no larger share is out than stated.

    Next to: within half a standard uncertainty. Simple acceptance leaves a share there that no plan would state.
    """

    def next_to(guard: Guard) -> list[Measured]:
        rule = judged_by(guard)
        found = []
        for each in accepted(units, guard):
            verdict = judge(rule, each.result)
            ends = (verdict.acceptance_lower, verdict.acceptance_upper)
            distance = min(abs((each.result.value or 0.0) - end) for end in ends if end is not None)
            if distance <= 0.5 * (each.result.standard_uncertainty or 0.0):
                found.append(each)
        return found

    close, loose = next_to(Guard(0.0, specific_risk=stated)), next_to(Guard(0.0))
    guarded = share_out(close)
    simple = share_out(loose)
    print(f"specific: stated {stated:.1%}, measured {guarded:.2%} of {len(close)}; simple {simple:.2%} of {len(loose)}")

    assert guarded <= stated + 4.0 * math.sqrt(stated / len(close))
    assert simple > 0.2


@pytest.mark.slow
def test_smaller_stated_risk_passes_no_unit_more(units: tuple[Measured, ...]) -> None:
    """On real results: what passes at 0.1 % passes at 1 %, and so for the specific risk and for U95."""
    process = {"process_mean": MEAN, "process_deviation": DEVIATION}
    passes = [
        {each.true_ohm for each in accepted(units[:2_000], guard)}
        for guard in (
            Guard(0.0),
            Guard(0.0, global_risk=0.01, **process),
            Guard(0.0, global_risk=0.001, **process),
        )
    ]
    specific = [
        {each.true_ohm for each in accepted(units[:2_000], Guard(0.0, specific_risk=each_risk))}
        for each_risk in (0.1, 0.01)
    ]

    assert passes[0] >= passes[1] > passes[2]
    assert passes[0] > specific[0] > specific[1]


def test_judging_again_by_a_risk_comes_to_the_same_limits_as_the_run_would_have(tmp_path: Path) -> None:
    """What a lot is read with for a replay holds u and its degrees of freedom: the same acceptance limits follow."""
    with verification_bench(tmp_path) as bench:
        assert bench.verify().verification.verified
        run = bench.measure()
        text = data_path("plans/IS-20.toml").read_text(encoding="utf-8")
        by_risk = parse_plan(text.replace('guard = "U95"', 'guard = "specific risk 0.1 %"'), "p")
        records, utc = bench.station.records, bench.place.clock.utc_now()
        records.release_plan(by_risk, who="EN-02", why="by risk", utc=utc)
        (again,) = replay_lots(records, by_risk, ["L2641"]).units
    expected = {
        each.name: judge(each, result)
        for each in by_risk.characteristics
        for result in run.results
        if result.characteristic == each.name
    }

    assert Side.PASS is again.after
    assert expected == {each.characteristic: each for each in again.judgements}
