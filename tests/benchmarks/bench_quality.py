"""How long the statistics of a large lot take.

    python -m tests.benchmarks.bench_quality

Each side takes its turn in 15 blocks; the figure is the fastest call, and its ratio to sorting the same values. Goals
(in s on the two-core machine that they were set for): 5 for each figure of 100,000 units, 1 for the sets of 2,650.
"""

import numpy as np

from station.quality.capability import capability
from station.quality.charts import individuals_charts
from station.quality.components import nested_components
from station.quality.risk import Tolerance
from station.quality.sample import sample_of
from station.quality.sets import Agreed, matched_sets
from station.quality.sets_several import matched_sets_several
from station.quality.within import within_by_moving_range
from tests.benchmarks.ratios import compare, show

_LARGE, _USUAL = 100_000, 2_650
_BLOCKS = 15
_CLOSE = Agreed(0.01, relative=True)


def main() -> None:
    """Run the benchmark and print its figures."""
    generator = np.random.default_rng(1)
    large = generator.normal([8.0, 11.6e-6, 4.2e-3], [0.2, 0.04e-6, 0.05e-3], (_LARGE, 3))
    usual, r20 = large[:_USUAL], large[:, 0]
    sample = sample_of(r20, population="made")
    skewed = sample_of(7.0 + generator.lognormal(0.0, 0.2, _LARGE), population="made")
    panels = {"panel": np.arange(_LARGE) // 96}
    limits = Tolerance(6.8, 9.2)
    timed = compare(
        {
            "sorting 100,000 values": lambda: np.sort(r20),
            "capability, normal": lambda: capability(sample, limits, within=within_by_moving_range(r20)),
            "capability, not normal": lambda: capability(skewed, limits),
            "charts of single values": lambda: individuals_charts(sample),
            "variance components": lambda: nested_components(sample, panels),
            "sets of 4, R20": lambda: matched_sets(r20, 4, _CLOSE, population="made"),
            "sets of 4, R20, L, B": lambda: matched_sets_several(large, 4, [_CLOSE] * 3, population="made"),
            "2,650 units: sets of 4, R20": lambda: matched_sets(usual[:, 0], 4, _CLOSE, population="made"),
            "2,650 units: sets of 4, R20, L, B": lambda: matched_sets_several(
                usual, 4, [_CLOSE] * 3, population="made"
            ),
        },
        calls=1,
        blocks=_BLOCKS,
    )
    print(show("Statistics of a lot of 100,000 units", timed))


if __name__ == "__main__":
    main()
