"""A lot studied once: observables, what is usual, and the probability of each cause for each unit."""

from dataclasses import dataclass

import numpy as np

from station.causes.baseline import Baseline, baseline_of
from station.causes.codes import code_log_likelihood
from station.causes.kinds import CAUSES, Cause
from station.causes.level import ReferenceShift, level_probabilities
from station.causes.observables import R20, RS_R20, B, Drawn, Findings, L, observables
from station.causes.posterior import cause_probabilities, posterior
from station.causes.signatures import signatures_of
from station.coil.geometry import FloatArray

USUAL = 8.0
"""Sum of squares of standardised residuals up to which a unit counts as like its panel without a closer look: no
case can then be more than exp(4) times as likely, and none has such a share of the prior (bound, not estimate)."""

_PASS = "PASS"
_NOTHING = CAUSES.index(Cause.NOTHING)
_LEVEL = [R20, L, RS_R20, B]


@dataclass(frozen=True, eq=False)
class Study:
    """What was found about N units. seen, residual: observables (N, 7), against the drawing and against the panel.

    level: probability of each cause for where the lot stands against the drawing (causes,).
    """

    findings: Findings
    drawn: Drawn
    reference: tuple[ReferenceShift, ...]
    seen: FloatArray
    baseline: Baseline
    residual: FloatArray
    log_code: FloatArray
    level: FloatArray

    @property
    def scores(self) -> FloatArray:
        """Residuals in standard deviations of the lot, shape (N, 7)."""
        return self.residual / self.baseline.spread


def study_of(findings: Findings, drawn: Drawn, *, reference: tuple[ReferenceShift, ...] = ()) -> Study:
    """Study a lot (or a few units, then against the drawing). Raises ValueError for no units."""
    if not len(findings):
        raise ValueError("causes need at least one unit; got none")
    seen = observables(findings, drawn)
    baseline = baseline_of(seen, findings.panels)
    measured = np.asarray(np.isfinite(seen).any(axis=1))
    standing = np.full(seen.shape[1], np.nan)
    there = np.isfinite(seen).any(axis=0)
    standing[there] = baseline.lot_centre[there] if baseline.from_lot else np.nanmedian(seen[:, there], axis=0)
    return Study(
        findings,
        drawn,
        reference,
        seen,
        baseline,
        seen - baseline.centre,
        code_log_likelihood(findings.codes, measured, contact_checked=drawn.contact_checked),
        level_probabilities(standing[None, _LEVEL], reference)[0],
    )


def unit_probabilities(study: Study, *, rows: np.ndarray | None = None) -> FloatArray:
    """Return the probability of each cause for each unit (of `rows`), shape (N, causes).

    What is left as "like its panel" of a unit that does not pass is divided by where it, its panel and lot stand
    against the drawing: a unit of a narrow lot is called narrow, one on a drifted bench drifted. One that passes is
    just like its panel.
    """
    chosen = np.arange(len(study.findings)) if rows is None else np.asarray(rows)
    spread, table = study.baseline.spread, signatures_of(study.drawn)
    found = np.zeros((len(chosen), len(CAUSES)))
    found[:, _NOTHING] = 1.0
    scores = np.nan_to_num(study.scores[chosen])
    measured = np.isfinite(study.seen[chosen]).any(axis=1)
    usual = (scores**2).sum(axis=1) < USUAL
    odd = np.flatnonzero(~usual | ~measured | _coded(study, chosen))
    close = chosen[odd]
    found[odd] = cause_probabilities(
        study.residual[close], spread, table, study.log_code[close], study.seen[close, R20]
    )
    return _with_level(study, chosen, found)


def case_probabilities(study: Study, row: int) -> tuple[FloatArray, FloatArray]:
    """Return the probabilities of the causes (causes,) and of all cases (J,) for one unit, none left out."""
    rows = np.array([row])
    causes, cases = posterior(
        study.residual[rows],
        study.baseline.spread,
        signatures_of(study.drawn),
        study.log_code[rows],
        study.seen[rows, R20],
    )
    return _with_level(study, rows, causes)[0], cases[0]


def _coded(study: Study, rows: np.ndarray) -> np.ndarray:
    """Units whose code says that they are not just measured."""
    return study.log_code[rows, _NOTHING] < 0


def _with_level(study: Study, rows: np.ndarray, found: FloatArray) -> FloatArray:
    base = study.baseline
    out_of_limits = np.array([study.findings.decisions[each] != _PASS for each in rows.tolist()])
    standing = (base.centre if base.from_lot else study.seen)[rows][:, _LEVEL].copy()
    standing[:, 0] = study.seen[rows, 0]
    standing[~np.isfinite(study.seen[rows][:, _LEVEL])] = np.nan
    level = level_probabilities(standing, study.reference)
    out = found.copy()
    out[:, _NOTHING] = 0.0
    return np.where(out_of_limits[:, None], out + found[:, [_NOTHING]] * level, found)
