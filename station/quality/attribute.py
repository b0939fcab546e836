"""Attribute agreement: appraisers who say acceptable or not (AIAG MSA, 4th edition, chapter III-C).

Decisions are booleans, True for acceptable. kappa compares agreement with what chance would give (Cohen 1960).
"""

import math
from dataclasses import dataclass

import numpy as np

from station.quality.factors import share_interval
from station.quality.readings import StudyDataError


@dataclass(frozen=True, slots=True)
class Kappa:
    """Agreement beyond chance: 1 complete, 0 chance. Above 0.75 is good, below 0.40 poor (AIAG's guide)."""

    value: float
    standard_error: float
    """For an interval of kappa; a test against chance alone has another one."""


@dataclass(frozen=True, slots=True)
class Share:
    """A count of a total as per cent, with its exact binomial interval."""

    count: int
    of: int
    percent: float
    interval_percent: tuple[float, float]


@dataclass(frozen=True, slots=True)
class AppraiserAgreement:
    """One appraiser, trial against trial and against the reference."""

    appraiser: str
    within: Share
    """Parts on which all trials agreed with each other."""
    effectiveness: Share
    """Parts on which all trials agreed with the reference."""
    kappa: Kappa
    miss: Share
    """Decisions *acceptable* on parts that are not: the dangerous ones."""
    false_alarm: Share
    """Decisions *not acceptable* on parts that are."""


@dataclass(frozen=True, slots=True)
class AttributeAgreement:
    """The whole study."""

    appraisers: tuple[AppraiserAgreement, ...]
    between: dict[tuple[str, str], Kappa]
    all_within: Share
    """Parts on which all trials of all appraisers agreed."""
    all_effective: Share
    """Parts on which all of them agreed with the reference too."""


def kappa(first: np.ndarray, second: np.ndarray) -> Kappa:
    """Return Cohen's kappa of two series of decisions, with its standard error (Fleiss, Cohen and Everitt 1969).

    Where both always say the same one thing there is no chance to beat: raises StudyDataError.
    """
    n = first.size
    p11, p10 = float((first & second).sum()) / n, float((first & ~second).sum()) / n
    p01, p00 = float((~first & second).sum()) / n, float((~first & ~second).sum()) / n
    table = np.array([[p11, p10], [p01, p00]])
    rows, columns = table.sum(axis=1), table.sum(axis=0)
    seen, chance = float(np.trace(table)), float(rows @ columns)
    if chance >= 1.0:
        raise StudyDataError("kappa needs acceptable and not acceptable parts; all decisions are the same")
    value = (seen - chance) / (1.0 - chance)
    pairs = columns[:, None] + rows[None, :]
    a = sum(table[i, i] * (1.0 - (rows[i] + columns[i]) * (1.0 - value)) ** 2 for i in (0, 1))
    b = (1.0 - value) ** 2 * sum(table[i, j] * pairs[i, j] ** 2 for i, j in ((0, 1), (1, 0)))
    c = (value - chance * (1.0 - value)) ** 2
    return Kappa(value, math.sqrt(max(0.0, a + b - c) / n) / (1.0 - chance))


def attribute_agreement(
    appraisers: tuple[str, ...], decisions: np.ndarray, reference: np.ndarray
) -> AttributeAgreement:
    """Return the study of `decisions`, boolean (parts, appraisers, trials), against `reference` (parts,).

    Raises StudyDataError for fewer than 10 parts, or a reference that is the same for all.
    """
    parts, _, trials = decisions.shape
    if parts < 10 or trials < 2:
        raise StudyDataError(
            f"an attribute study needs 10 parts and 2 trials or more (50 and 3 are usual); got {parts} and {trials}"
        )
    if reference.all() or not reference.any():
        raise StudyDataError("an attribute study needs parts that are acceptable and parts that are not")
    truth = np.repeat(reference, trials)
    flat = {name: decisions[:, i, :].reshape(-1) for i, name in enumerate(appraisers)}
    single = tuple(
        _appraiser(name, decisions[:, i, :], reference, kappa(flat[name], truth)) for i, name in enumerate(appraisers)
    )
    between = {
        (one, other): kappa(flat[one], flat[other]) for i, one in enumerate(appraisers) for other in appraisers[i + 1 :]
    }
    matrix = decisions.reshape(parts, -1)
    return AttributeAgreement(
        single, between, _share(_uniform(matrix)), _share((matrix == reference[:, None]).all(axis=1))
    )


def _uniform(matrix: np.ndarray) -> np.ndarray:
    return (matrix == matrix[:, :1]).all(axis=1)


def _share(flags: np.ndarray) -> Share:
    count, of = int(flags.sum()), int(flags.size)
    low, high = share_interval(count, of)
    return Share(count, of, 100.0 * count / of, (100.0 * low, 100.0 * high))


def _appraiser(name: str, decisions: np.ndarray, reference: np.ndarray, against: Kappa) -> AppraiserAgreement:
    return AppraiserAgreement(
        name,
        _share(_uniform(decisions)),
        _share((decisions == reference[:, None]).all(axis=1)),
        against,
        _share(decisions[~reference].reshape(-1)),
        _share(~decisions[reference].reshape(-1)),
    )
