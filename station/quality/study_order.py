"""In which order the units of a crossed study are loaded: at random, with an order of its own for each appraiser.

All units are loaded once before any is loaded again, so a trial is a pass through all units; and no unit is ever
loaded twice running, where the appraiser would remember it and it would still be seated.
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Step:
    """One loading: `appraiser` loads `part` for the given trial (from 1)."""

    appraiser: str
    trial: int
    part: str


def study_order(parts: Sequence[str], appraisers: Sequence[str], trials: int, *, seed: int) -> tuple[Step, ...]:
    """Return all loadings in order, appraiser by appraiser. The same seed and names give the same order.

    An appraiser's order does not depend on who else takes part. Raises ValueError for names that stand twice, fewer
    than 2 parts, no appraiser, or fewer than 2 trials.
    """
    if len(set(parts)) != len(parts) or len(set(appraisers)) != len(appraisers):
        raise ValueError("each part and each appraiser may be named once only")
    if len(parts) < 2 or not appraisers or trials < 2:
        raise ValueError(
            f"a crossed study needs 2 parts, 1 appraiser and 2 trials or more; got {len(parts)}, "
            f"{len(appraisers)} and {trials}"
        )
    return tuple(
        Step(appraiser, trial + 1, part)
        for appraiser in appraisers
        for trial, order in enumerate(_passes(parts, trials, random.Random(f"{seed}/{appraiser}")))
        for part in order
    )


def _passes(parts: Sequence[str], trials: int, chance: random.Random) -> list[list[str]]:
    passes: list[list[str]] = []
    for _ in range(trials):
        order = list(parts)
        chance.shuffle(order)
        if passes and order[0] == passes[-1][-1]:
            # Swapped with a place further on, drawn too, so that no part is preferred.
            other = chance.randrange(1, len(order))
            order[0], order[other] = order[other], order[0]
        passes.append(order)
    return passes
