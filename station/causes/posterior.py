"""Bayes' rule over the table of cases: prior share times the normal density of what was seen."""

import numpy as np

from station.causes.kinds import CAUSES
from station.causes.signatures import Signatures
from station.coil.geometry import FloatArray

_AT_ONCE = 2_048


def case_log_likelihood(
    residual: FloatArray, spread: FloatArray, table: Signatures, *, copper: FloatArray | None = None
) -> FloatArray:
    """Return ln of each case's density for each unit, shape (N, J); missing observables (NaN) say nothing.

    residual: observables less what is usual (N, 7). spread: their standard deviations (7,). copper: ln R20 off the
    drawing (N,), NaN where not known. Observables count as independent within a panel; each case's own spread adds to
    the lot's in square.
    """
    found = np.empty((len(residual), len(table.cause)))
    known = np.isfinite(residual)
    patterns, of = np.unique(known, axis=0, return_inverse=True)
    own = np.zeros(len(residual)) if copper is None else np.nan_to_num(copper)
    for number, present in enumerate(patterns):
        rows = np.flatnonzero(of.ravel() == number)
        found[rows] = _present(residual[np.ix_(rows, present)], own[rows], spread[present], table, present)
    return found


def _present(
    residual: FloatArray, copper: FloatArray, spread: FloatArray, table: Signatures, present: np.ndarray
) -> FloatArray:
    """-(r - a - g u)^2 w/2 summed over the observables and multiplied out, so that it is a handful of products."""
    weight = 1.0 / (spread**2 + table.extra_sd[:, present] ** 2)
    slope = table.per_copper[:, present]
    shift = table.shift[:, present] - slope * table.shift[:, [0]]
    found = residual @ (weight * shift).T - 0.5 * (residual**2) @ weight.T
    found += 0.5 * np.log(weight * spread**2).sum(axis=1) - 0.5 * (weight * shift**2).sum(axis=1)
    if slope.any():
        u = copper[:, None]
        found += (residual * u) @ (weight * slope).T - u * (weight * shift * slope).sum(axis=1)
        found -= 0.5 * u**2 * (weight * slope**2).sum(axis=1)
    return found


def posterior(
    residual: FloatArray,
    spread: FloatArray,
    table: Signatures,
    log_code: FloatArray,
    copper: FloatArray,
    *,
    log_beside: FloatArray | float = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """Return the probability of each cause (N, causes) and of each case (N, J).

    log_code: ln of how likely each unit's reason code is under each cause, shape (N, causes). log_beside: ln of how
    likely what was found besides is under each case, broadcasts to (N, J).
    """
    score = case_log_likelihood(residual, spread, table, copper=copper) + table.log_share + log_code[:, table.cause]
    score = score + log_beside
    score -= score.max(axis=1, keepdims=True)
    cases = np.exp(score)
    cases /= cases.sum(axis=1, keepdims=True)
    member = (table.cause[:, None] == np.arange(len(CAUSES))).astype(float)
    return cases @ member, cases


def cause_probabilities(
    residual: FloatArray, spread: FloatArray, table: Signatures, log_code: FloatArray, copper: FloatArray
) -> FloatArray:
    """As `posterior`, the causes only, in pieces that keep the memory small."""
    slices = [slice(start, start + _AT_ONCE) for start in range(0, len(residual), _AT_ONCE)]
    pieces = [posterior(residual[each], spread, table, log_code[each], copper[each])[0] for each in slices]
    return np.vstack(pieces) if pieces else np.zeros((0, len(CAUSES)))
