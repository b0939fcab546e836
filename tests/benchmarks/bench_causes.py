"""How long the search for causes takes on a large lot: `python -m tests.benchmarks.bench_causes`.

Sides take turns in 15 blocks; each figure is the fastest call, and its ratio to sorting as many values. Goal (in s on
the two-core machine that it was set for): 5 for 100,000 units, records and all; reading them takes 1 of it.
"""

from dataclasses import replace

import numpy as np

from sim.lot import Lot
from station.causes.explain import explain_lot, explain_unit
from station.causes.observables import Findings
from station.causes.signatures import signatures_of
from station.causes.study import study_of
from tests.benchmarks.ratios import compare, show
from tests.causes.makers import DRAWN, lot_units, measure

_UNITS = 100_000
_BLOCKS = 15


def _large() -> Findings:
    """Simulated panels, again and again, with noise of their own."""
    found = measure(lot_units(Lot(3, panels=20)))
    again, generator = np.arange(_UNITS) % len(found), np.random.default_rng(1)

    def all_of(labels: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(labels[each] for each in again)

    noise = 1 + 1e-4 * generator.standard_normal((_UNITS, len(found.values)))
    return replace(
        found,
        serials=tuple(f"U{number:06d}" for number in range(_UNITS)),
        panels=tuple(f"{number // 960:03d}" for number in range(_UNITS)),
        codes=all_of(found.codes),
        decisions=all_of(found.decisions),
        values={name: column[again] * noise[:, place] for place, (name, column) in enumerate(found.values.items())},
    )


def main() -> None:
    """Run the benchmark and print its figures."""
    findings = _large()
    study = study_of(findings, DRAWN)
    r20 = findings.value("R20")

    def table() -> None:
        signatures_of.cache_clear()
        signatures_of(DRAWN)

    timed = compare(
        {
            "sorting 100,000 values": lambda: np.sort(r20),
            "signatures of a drawing": table,
            "study": lambda: study_of(findings, DRAWN),
            "explain the lot": lambda: explain_lot(study),
            "explain one unit": lambda: explain_unit(study, 11),
        },
        calls=1,
        blocks=_BLOCKS,
    )
    print(show("Causes in a lot of 100,000 units", timed))


if __name__ == "__main__":
    main()
