"""What the process statistics refuse, in words that say what would be right."""

from collections.abc import Callable

import numpy as np
import pytest

from station.quality.charts import mean_range_charts
from station.quality.components import nested_components
from station.quality.outliers import robust_outliers
from station.quality.panel import panel_map
from station.quality.promise import promise_across_lots
from station.quality.readings import StudyDataError
from station.quality.sample import Sample, sample_of
from station.quality.sampling import (
    acceptance_probability,
    code_letter,
    draw_serials,
    fraction_at,
    single_plan,
)
from station.quality.sampling_tables import AQLS, LETTERS, LEVELS, LOT_ENDS, SAMPLE_SIZES, Severity
from station.quality.sequential import cumulative_sums, moving_average_chart
from station.quality.set_classes import set_classes
from station.quality.sets import Agreed, matched_sets
from station.quality.sets_several import matched_sets_several
from station.quality.tolerance import normal_interval, one_sided_factor
from station.quality.trend import trend_of
from station.quality.within import equal_subgroups, subgroups_of, within_by_moving_range, within_by_ranges

SAMPLE = sample_of(np.arange(10.0), population="made")
ONES = np.arange(10)
CLOSE = Agreed(0.1)
ALONE = single_plan(2, 0.65, level="I")


@pytest.mark.parametrize(
    ("refused", "words"),
    [
        (lambda: Sample(np.zeros((2, 2)), "made"), "one row of values"),
        (lambda: sample_of([], population="made"), "one or more"),
        (lambda: normal_interval(sample_of([1.0], population="made")), "2 values or more"),
        (lambda: normal_interval(SAMPLE, side="left"), "both, lower or upper"),
        (lambda: one_sided_factor(1, coverage=0.9, confidence=0.9), "two values or more"),
        (lambda: promise_across_lots(SAMPLE, ONES % 2, coverage=1.0), "between 0 and 1"),
        (lambda: within_by_moving_range(np.array([1.0, 2.0])), "three values"),
        (lambda: within_by_ranges(subgroups_of(SAMPLE.values, ONES)), "no subgroup has two"),
        (lambda: equal_subgroups(10, 0), "one value or more"),
        (lambda: mean_range_charts(SAMPLE, ONES[:5]), "one subgroup label a value"),
        (lambda: moving_average_chart(SAMPLE, 1.0, weight=0.0), "weight above 0"),
        (lambda: moving_average_chart(SAMPLE, float("nan")), "deviation above 0"),
        (lambda: cumulative_sums(SAMPLE, target=0.0, reference=-1.0, decision=1.0), "reference of 0 or more"),
        (lambda: nested_components(SAMPLE, {"lot": ONES[:5]}), "one group a value"),
        (lambda: nested_components(SAMPLE, {"unit": ONES}), "nothing is left within"),
        (lambda: panel_map(SAMPLE, ("A",), ("1",) * 10), "one row a value"),
        (lambda: robust_outliers(SAMPLE, cutoff=0.0), "above 0"),
        (lambda: trend_of(SAMPLE, np.ones(10)), "not all the same"),
        (lambda: Agreed(-0.1), "0 or more"),
        (lambda: Agreed(float("nan")), "0 or more"),
        (lambda: matched_sets(SAMPLE.values, 1, CLOSE, population="made"), "two units or more"),
        (lambda: matched_sets(SAMPLE.values, 2, Agreed(0.1, relative=True), population="made"), "above 0"),
        (lambda: matched_sets_several(np.ones((3, 2)), 2, [CLOSE], population="made"), "one tolerance a quantity"),
        (lambda: matched_sets_several(np.ones((3, 1)), 1, [CLOSE], population="made"), "two units or more"),
        (lambda: set_classes(SAMPLE.values, 2, Agreed(0.0), population="made"), "tolerance above 0"),
        (lambda: set_classes(SAMPLE.values, 2, Agreed(1e-6), population="made"), "over 1000 classes"),
        (lambda: set_classes(SAMPLE.values, 2, Agreed(0.1, relative=True), population="made"), "above 0"),
        (lambda: code_letter(1, "II"), "two units or more"),
        (lambda: code_letter(10, "IV"), "S-1, S-2"),
        (lambda: draw_serials(("A",), 2, seed="x"), "0 to 1 units"),
        (lambda: draw_serials(("A",), 1, seed=""), "needs a seed"),
        (lambda: fraction_at(ALONE, 1.0), "between 0 and 1"),
    ],
)
def test_refusal_says_what_would_be_right(refused: Callable[[], object], words: str) -> None:
    """One clear error, never a wrong figure."""
    with pytest.raises(StudyDataError, match=words):
        refused()


@pytest.mark.parametrize("severity", Severity)
def test_every_place_of_the_tables_leads_to_a_plan(severity: Severity) -> None:
    """No arrow leads out of the table; the probability of acceptance falls with the fraction nonconforming."""
    for size in (2, *(end + 1 for end in LOT_ENDS)):
        for level in LEVELS:
            for aql in AQLS:
                plan = single_plan(size, aql, level=level, severity=severity)
                assert plan.letter in LETTERS + "S"
                assert plan.sample_size <= min(size, SAMPLE_SIZES[severity][-1])
                probabilities = acceptance_probability(plan, np.array([0.0, 0.05, 0.5]))

                assert (np.diff(probabilities) <= 0.0).all()
