"""Results against known truth: bias, coverage of the stated uncertainty, escapes through the guard band."""

import math
from collections import Counter
from pathlib import Path

import pytest

from sim.lot import truth_near
from sim.noise import key, normal, uniform
from station.core.results import Decision
from tests.end_to_end.truth import (
    CHARACTERISTICS,
    limits,
    measure,
    shipped_plan,
    true_values,
    without_guard,
)

BENCHES = 2_000
"""One unit on each: a bench's systematic error is one draw. Four standard errors of 95 % are then below 2 %."""

PILE_BENCHES, PILE_UNITS = 110, 20
"""Units piled around limits: about half of them outside."""

RELATIVE_U = {"R20": 1.3e-3, "L": 8.3e-4}
"""About the expanded uncertainty of the simulated bench, relative: only where to pile the units."""


@pytest.mark.slow
def test_coverage_of_stated_uncertainty_over_benches_drawn_as_declared(tmp_path: Path) -> None:
    """95 % intervals hold the truth in 93 to 97 % of benches, and results are unbiased over benches."""
    covered: Counter[str] = Counter()
    measured: Counter[str] = Counter()
    deviations: dict[str, list[float]] = {name: [] for name in CHARACTERISTICS}
    for seed in range(BENCHES):
        spread = math.exp(0.08 * normal(key("coverage", seed)))
        unit = truth_near("L2641-01-A01", resistance_20_ohm=7.95 * spread)
        (record,) = measure([unit], seed=seed, home=tmp_path)
        truth = true_values(unit)
        for result in record.results:
            if result.value is None or result.characteristic not in truth:
                continue
            error = result.value - truth[result.characteristic]
            assert result.expanded_uncertainty is not None
            assert result.standard_uncertainty is not None
            measured[result.characteristic] += 1
            covered[result.characteristic] += abs(error) <= result.expanded_uncertainty
            deviations[result.characteristic].append(error / result.standard_uncertainty)

    for name in CHARACTERISTICS:
        assert measured[name] >= 0.99 * BENCHES, name
        share = covered[name] / measured[name]
        mean = sum(deviations[name]) / measured[name]
        print(f"{name}: covered {share:.4f}, mean deviation {mean:+.3f} standard uncertainties")
        assert 0.93 <= share <= 0.97, (name, share)
        assert abs(mean) <= 4.0 / math.sqrt(measured[name]) + 0.05, (name, mean)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["R20", "L"])
def test_no_escape_beyond_the_guard_bands_promise(name: str, tmp_path: Path) -> None:
    """Units piled within two U of each limit: no more outside ones pass than the guard band allows."""
    outside, escaped = _pile(name, tmp_path, guarded=True)

    assert outside >= 1_000
    # A unit just outside its limit passes with 2.5 % at the most; further out with less.
    allowed = 0.025 * outside + 4.0 * math.sqrt(0.025 * outside)
    print(f"{name}: {escaped} of {outside} outside units passed; {allowed:.0f} allowed")
    assert escaped <= allowed


@pytest.mark.slow
def test_escapes_without_the_guard_band(tmp_path: Path) -> None:
    """The same pile with the guard band removed escapes many times more: the test above can turn red."""
    outside, escaped = _pile("R20", tmp_path, guarded=False)

    assert escaped > 2.0 * (0.025 * outside + 4.0 * math.sqrt(0.025 * outside))


def _pile(name: str, home: Path, *, guarded: bool) -> tuple[int, int]:
    """Return how many units were outside their limits, and how many of these passed."""
    plan = shipped_plan() if guarded else without_guard(shipped_plan())
    characteristic = limits(plan.plan, name)
    ends = (characteristic.lower, characteristic.upper)
    outside = escaped = 0
    for seed in range(PILE_BENCHES):
        values = [_near(name, ends[i % 2], seed, i) for i in range(PILE_UNITS)]
        units = [
            truth_near(
                f"L2641-01-A{1 + i % 12:02d}" if i < 12 else f"L2641-01-B{1 + i % 12:02d}",
                **{"resistance_20_ohm" if name == "R20" else "inductance_h": value},  # type: ignore[arg-type]
            )
            for i, value in enumerate(values)
        ]
        for value, record in zip(values, measure(units, seed=seed, home=home, plan=plan), strict=True):
            if ends[0] <= value <= ends[1]:  # type: ignore[operator]
                continue
            outside += 1
            escaped += record.decision is Decision.PASS
    return outside, escaped


def _near(name: str, limit: float | None, seed: int, index: int) -> float:
    """Return a truth within two U of a limit, mostly on its outer side."""
    assert limit is not None
    share = 2.0 * uniform(key("pile", name, seed, index)) - 1.0
    return limit * (1.0 + 2.0 * RELATIVE_U[name] * share)
