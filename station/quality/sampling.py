"""Acceptance sampling by attributes: ISO 2859-1 single plans, operating characteristic, and the drawing of serials.

CAUTION: an accepted lot may hold nonconforming units; the operating characteristic says how many, how often. No
sampling plan turns a FAIL into a PASS.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from station.quality.readings import StudyDataError
from station.quality.sampling_tables import (
    AQLS,
    CODE_LETTERS,
    DOWN,
    LETTERS,
    LEVELS,
    LOT_ENDS,
    SAMPLE_SIZES,
    Basis,
    Severity,
    basis_of,
    cell,
    is_checked,
)


@dataclass(frozen=True, slots=True)
class SamplingPlan:
    """Inspect `sample_size` units of the lot; accept it with up to `acceptance_number` nonconforming ones."""

    lot_size: int
    level: str
    aql_percent: float
    severity: Severity
    letter: str
    """Of the plan used, after following arrows."""
    sample_size: int
    """Not above the lot: then the whole lot is inspected."""
    acceptance_number: int
    checked: bool
    """Whether this part of the tables was compared with a printed text; `basis` says what else it rests on."""

    @property
    def basis(self) -> Basis:
        """What this part of the tables rests on."""
        return basis_of(self.aql_percent, self.severity)

    @property
    def rejection_number(self) -> int:
        """The lot is not accepted with so many nonconforming units or more."""
        return self.acceptance_number + 1

    @property
    def whole_lot(self) -> bool:
        """Whether every unit is inspected."""
        return self.sample_size >= self.lot_size


def code_letter(lot_size: int, level: str) -> str:
    """Return the sample size code letter (table 1). Raises StudyDataError for a lot below 2 or an unknown level."""
    if lot_size < 2:
        raise StudyDataError(f"a lot to be sampled has two units or more; got {lot_size}")
    if level not in LEVELS:
        raise StudyDataError(f"an inspection level is one of {', '.join(LEVELS)}; got {level!r}")
    row = sum(lot_size > end for end in LOT_ENDS)
    return CODE_LETTERS[row][LEVELS.index(level)]


def single_plan(
    lot_size: int, aql_percent: float, *, level: str = "II", severity: Severity = Severity.NORMAL
) -> SamplingPlan:
    """Return the single sampling plan, arrows followed (tables 2-A, 2-B, 2-C).

    Raises StudyDataError as `code_letter`, or for an AQL that the tables don't have (0.010 to 10 % nonconforming).
    """
    letter = LETTERS.index(code_letter(lot_size, level))
    if aql_percent not in AQLS:
        listed = ", ".join(f"{each:g}" for each in AQLS)
        raise StudyDataError(f"an AQL (percent nonconforming) is one of {listed}; got {aql_percent:g}")
    used, number = _follow(letter, AQLS.index(aql_percent), severity)
    size = SAMPLE_SIZES[severity][used]
    names = LETTERS + "S"
    return SamplingPlan(
        lot_size,
        level,
        aql_percent,
        severity,
        names[used],
        min(size, lot_size),
        number,
        is_checked(aql_percent, severity),
    )


def _follow(letter: int, aql: int, severity: Severity) -> tuple[int, int]:
    """Go where the arrow points until there is a plan; an arrow that leaves the table is turned round."""
    at = cell(letter, aql, severity)
    if isinstance(at, int):
        return letter, at
    for step in (1, -1) if at == DOWN else (-1, 1):
        place = letter + step
        while 0 <= place < len(SAMPLE_SIZES[severity]):
            found = cell(place, aql, severity)
            if isinstance(found, int):
                return place, found
            place += step
    raise StudyDataError(f"no plan for letter {LETTERS[letter]} and AQL {AQLS[aql]:g} under {severity} inspection")


def acceptance_probability(plan: SamplingPlan, fraction: float | np.ndarray) -> np.ndarray:
    """Return P(accept) for a process with this `fraction` nonconforming, 0 to 1, by the binomial distribution."""
    from scipy.special import bdtr

    return np.asarray(bdtr(plan.acceptance_number, plan.sample_size, np.asarray(fraction, dtype=float)))


def acceptance_probability_of_lot(plan: SamplingPlan, nonconforming: int) -> float:
    """Return P(accept) for a lot with so many nonconforming units, by the hypergeometric distribution."""
    from scipy.stats import hypergeom

    return float(hypergeom.cdf(plan.acceptance_number, plan.lot_size, nonconforming, plan.sample_size))


def fraction_at(plan: SamplingPlan, probability: float) -> float:
    """Return the fraction nonconforming that is accepted with `probability` (binomial): 0.1 gives the consumer's."""
    from scipy.special import betaincinv

    if not 0.0 < probability < 1.0:
        raise StudyDataError(f"a probability is between 0 and 1; got {probability}")
    if plan.acceptance_number >= plan.sample_size:
        raise StudyDataError("this plan accepts every lot: its sample is no larger than its acceptance number")
    return float(betaincinv(plan.acceptance_number + 1, plan.sample_size - plan.acceptance_number, 1.0 - probability))


def draw_serials(serials: Sequence[str], count: int, *, seed: str) -> tuple[str, ...]:
    """Return `count` serials drawn at random, in the order of `serials`; the caller puts the seed on record.

    The draw takes those with the smallest SHA-256 of seed and serial: anybody can repeat it from the record, with any
    program, whatever the order of the list. Raises StudyDataError for a repeated serial, a seed without characters or
    more than there are.
    """
    if len(set(serials)) != len(serials):
        raise StudyDataError("a serial is in the list twice: each unit has one chance")
    if not seed or not 0 <= count <= len(serials):
        raise StudyDataError(f"needs a seed, and 0 to {len(serials)} units; got seed {seed!r} and {count}")
    ranked = sorted(serials, key=lambda serial: hashlib.sha256(f"{seed}\n{serial}".encode()).digest())
    drawn = set(ranked[:count])
    return tuple(serial for serial in serials if serial in drawn)
