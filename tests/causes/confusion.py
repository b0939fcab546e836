"""Confusion matrices: some thousand simulated units of known truth against the likeliest cause.

`python -m tests.causes.confusion` prints them. Defects are far more frequent than in a real lot, so that each cause is
seen; the priors of the tool stay as they are.
"""

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from sim.lot import DefectRates, Lot
from sim.truth import CoilTruth
from station.causes.kinds import CAUSES, Cause
from station.causes.observables import Drawn
from station.causes.study import Study, study_of, unit_probabilities
from tests.causes.makers import (
    DRAWN,
    LIMITS,
    TRUE_CAUSE,
    TWO_FREQUENCIES,
    Trouble,
    copper_unit,
    lot_units,
    measure,
    other_part,
)

RATES = DefectRates(open=0.01, shorted_turns=0.04, layer_short=0.015, high_resistance=0.01, poor_contact=0.01)
LOTS, PANELS = 3, 15
_EVERY = 60
"""One unit in so many of each kind of trouble that a simulated lot doesn't have."""


@dataclass(frozen=True, slots=True, eq=False)
class Matrix:
    """counts: (true cause, likeliest cause) to units. stated: probability of the likeliest cause of every unit whose
    lot was looked at closely, and whether it was right."""

    counts: Counter[tuple[Cause, Cause]]
    stated: tuple[tuple[float, bool], ...]

    def right(self, cause: Cause) -> float:
        """Return the share of a true cause's units that were called so."""
        row = {called: units for (true, called), units in self.counts.items() if true is cause}
        return row.get(cause, 0) / max(1, sum(row.values()))


def studied(
    seed: int, *, drawn: Drawn = DRAWN, panels: int = PANELS, only: tuple[str, ...] = ()
) -> tuple[Study, list[Cause]]:
    """Return one lot studied (by `only` these characteristics), and the true cause of each unit."""
    lot = Lot(seed, panels=panels, rates=RATES)
    units, causes = [], []
    for number, (truth, trouble) in enumerate(lot_units(lot)):
        unit, what, cause = _spoilt(truth, trouble, number, seed)
        units.append((unit, what))
        causes.append(cause)
    findings = measure(units, drawn=drawn, seed=seed)
    if only:
        findings = replace(findings, values={name: findings.values[name] for name in only})
    study = study_of(findings, drawn)
    # A sound unit beyond a limit of R20 is out for its copper, whichever of lot, panel and place made it so.
    decided = zip(causes, study.findings.value("R20").tolist(), study.findings.decisions, strict=True)
    return study, [_by_limits(cause, r20, decision) for cause, r20, decision in decided]


def confusion(
    *, lots: int = LOTS, drawn: Drawn = DRAWN, panels: int = PANELS, only: tuple[str, ...] = ()
) -> Matrix:
    """Return the matrix over several lots."""
    counts: Counter[tuple[Cause, Cause]] = Counter()
    stated: list[tuple[float, bool]] = []
    for seed in range(1, lots + 1):
        study, causes = studied(seed, drawn=drawn, panels=panels, only=only)
        probabilities = unit_probabilities(study)
        for true, row in zip(causes, probabilities, strict=True):
            called = CAUSES[int(row.argmax())]
            counts[true, called] += 1
            stated.append((float(row.max()), called is true))
    return Matrix(counts, tuple(stated))


def _spoilt(truth: CoilTruth, trouble: Trouble, number: int, seed: int) -> tuple[CoilTruth, Trouble, Cause]:
    """Return the unit, now and then with a trouble of its own, and its true cause."""
    if truth.defect:
        return truth, trouble, TRUE_CAUSE[truth.defect]
    share = float(np.random.default_rng((seed, number)).uniform())
    kind = number % _EVERY
    if kind == 0:
        return copper_unit(truth, 0.60 + 0.15 * share), trouble, Cause.NARROW
    if kind == 1:
        return copper_unit(truth, 1.35 + 0.3 * share), trouble, Cause.WIDE
    if kind == 2:
        return truth, replace(trouble, metal_at_m=0.5e-3 + 2.5e-3 * share), Cause.METAL
    if kind == 3:
        return other_part(truth, 16 + int(3 * share)), trouble, Cause.WRONG_PART
    if kind == 4:
        return truth, replace(trouble, higher_m=(0.13 + 0.15 * share) * 1e-3), Cause.SENSOR_POSITION
    if kind == 5:
        return truth, replace(trouble, code="not_still"), Cause.WARM
    if kind == 6:
        return truth, replace(trouble, code="no_reply"), Cause.NOT_MEASURED
    return truth, trouble, Cause.NOTHING


def _by_limits(cause: Cause, r20_ohm: float, decision: str) -> Cause:
    if cause is not Cause.NOTHING or decision == "PASS":
        return cause
    low, high = LIMITS["R20"]
    if r20_ohm > high:
        return Cause.NARROW
    return Cause.WIDE if r20_ohm < low else cause


def print_matrix(matrix: Matrix) -> None:
    """Print the matrix and how the stated probabilities hold."""
    shown = [each for each in CAUSES if any(each in pair for pair in matrix.counts)]
    print(f"{'true cause':<26}" + "".join(f"{each.value[:9]:>10}" for each in shown))
    for true in shown:
        cells = [matrix.counts[true, called] for called in shown]
        if sum(cells):
            print(f"{true.value:<26}" + "".join(f"{each or '.':>10}" for each in cells))
    for low, high in ((0.0, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 0.99), (0.99, 1.01)):
        hits = [right for stated, right in matrix.stated if low <= stated < high]
        if hits:
            print(f"stated {low:.2f} to {min(high, 1):.2f}: {len(hits)} units, {np.mean(hits):.3f} right")


if __name__ == "__main__":
    print("R20, L, Rs at 100 kHz, field at four heights")
    print_matrix(confusion())
    print("\nR20 and L only")
    print_matrix(confusion(only=("R20", "L")))
    print("\nas the first, with L and Rs at 300 kHz")
    print_matrix(confusion(drawn=TWO_FREQUENCIES))
