"""A lot studied once: observables, what is usual, and the probability of each cause for each unit."""

from dataclasses import dataclass, field

import numpy as np

from station.causes.baseline import Baseline, baseline_of
from station.causes.codes import code_log_likelihood
from station.causes.copper import CopperFinding
from station.causes.kinds import CAUSES, Cause
from station.causes.level import ReferenceShift, level_probabilities, reference_row
from station.causes.measured_copper import MeasuredCopper, case_evidence, divide, divide_level, measured_copper
from station.causes.observables import R20, RS_R20, B, Drawn, Findings, L, observables, uncertainties_of
from station.causes.posterior import cause_probabilities, posterior
from station.causes.signatures import signatures_of
from station.coil.geometry import FloatArray

USUAL, USUAL_ONE = 11.0, 8.0
"""Sum of squares of standardised residuals, and any one of them, up to which a unit counts as like its panel without a
closer look. A bound, no estimate: no case can then be more than exp(5.5) times as likely, and none that needs several
observables has 1/245 of the prior; one that needs a single one, such as copper, at most exp(4) times."""

_STEP, _SAME = 1.2, 0.1
_PASS = "PASS"
_NOTHING = CAUSES.index(Cause.NOTHING)
_LEVEL = [R20, L, RS_R20, B]


@dataclass(frozen=True, eq=False)
class Study:
    """What was found about N units. seen, residual: observables (N, 7), against the drawing and against the panel.

    spread: the lot's, with what a unit's own uncertainty exceeds the lot's usual one by, in square (N, 7): what is
    common to all (a meter's gain) cancels against the lot, what is not is in the lot's spread already.
    level: probability of each cause for where the lot stands against the drawing (causes,).
    """

    findings: Findings
    drawn: Drawn
    reference: tuple[ReferenceShift, ...]
    seen: FloatArray
    baseline: Baseline
    spread: FloatArray
    residual: FloatArray
    log_code: FloatArray
    level: FloatArray
    copper: MeasuredCopper = field(default_factory=MeasuredCopper)
    """Widths, coupons and sections, where there are any."""

    @property
    def scores(self) -> FloatArray:
        """Residuals in standard deviations of the lot, shape (N, 7)."""
        return self.residual / self.spread


def study_of(
    findings: Findings,
    drawn: Drawn,
    *,
    reference: tuple[ReferenceShift, ...] = (),
    copper: tuple[CopperFinding, ...] = (),
) -> Study:
    """Study a lot (or a few units, then against the drawing). Raises ValueError for no units."""
    if not len(findings):
        raise ValueError("causes need at least one unit; got none")
    seen = observables(findings, drawn)
    baseline = baseline_of(seen, findings.panels)
    measured = np.asarray(np.isfinite(seen).any(axis=1))
    standing = np.full(seen.shape[1], np.nan)
    there = np.isfinite(seen).any(axis=0)
    standing[there] = baseline.lot_centre[there] if baseline.from_lot else np.nanmedian(seen[:, there], axis=0)
    shift = float(np.nan_to_num(reference_row(reference)[0][0]))
    measured_on = measured_copper(copper, findings.serials, findings.panels, seen[:, R20], bench_shift=shift)
    level = level_probabilities(standing[None, _LEVEL], reference, beyond=measured_on.beyond)[0]
    return Study(
        findings,
        drawn,
        reference,
        seen,
        baseline,
        _spread(baseline, uncertainties_of(findings, drawn)),
        seen - baseline.centre,
        code_log_likelihood(findings.codes, measured, contact_checked=drawn.contact_checked),
        divide_level(measured_on, float(standing[R20]), level),
        measured_on,
    )


def unit_probabilities(study: Study, *, rows: np.ndarray | None = None) -> FloatArray:
    """Return the probability of each cause for each unit (of `rows`), shape (N, causes).

    What is left as "like its panel" of a unit that does not pass is divided by where it, its panel and lot stand
    against the drawing: a unit of a narrow lot is called narrow, one on a drifted bench drifted. One that passes is
    just like its panel.
    """
    chosen = np.arange(len(study.findings)) if rows is None else np.asarray(rows)
    found = np.zeros((len(chosen), len(CAUSES)))
    found[:, _NOTHING] = 1.0
    scores = np.nan_to_num(study.scores[chosen])
    measured = np.isfinite(study.seen[chosen]).any(axis=1)
    squares = scores**2
    usual = (squares.sum(axis=1) < USUAL) & (squares.max(axis=1) < USUAL_ONE)
    odd = np.flatnonzero(~usual | ~measured | _coded(study, chosen))
    close = chosen[odd]
    found[odd] = _close_look(study, close)
    found = _divided(study, chosen, _with_level(study, chosen, found))
    for place, row in enumerate(chosen.tolist()):
        if study.findings.serials[row] in study.copper.by_unit:
            found[place] = case_probabilities(study, row)[0]
    return found


def _divided(study: Study, rows: np.ndarray, found: FloatArray) -> FloatArray:
    serials = [study.findings.serials[each] for each in rows.tolist()]
    panels = [study.findings.panels[each] for each in rows.tolist()]
    return divide(study.copper, serials, panels, study.seen[rows, R20], found)


def _close_look(study: Study, rows: np.ndarray) -> FloatArray:
    """Units of one spread together; nearly all have the lot's."""
    table, found = signatures_of(study.drawn), np.zeros((len(rows), len(CAUSES)))
    spreads, of = np.unique(study.spread[rows], axis=0, return_inverse=True)
    for number, spread in enumerate(spreads):
        members = np.flatnonzero(of.ravel() == number)
        some = rows[members]
        found[members] = cause_probabilities(
            study.residual[some], spread, table, study.log_code[some], study.seen[some, R20]
        )
    return found


def _spread(baseline: Baseline, uncertainty: FloatArray) -> FloatArray:
    """In steps of a fifth upwards, so that units can be taken together."""
    usual = np.median(uncertainty, axis=0) if baseline.from_lot else np.zeros(uncertainty.shape[1])
    excess = np.sqrt(np.maximum(uncertainty**2 - usual**2, 0.0))
    ratio = np.hypot(1.0, excess / baseline.spread)
    steps = np.ceil(np.log(ratio) / np.log(_STEP) - _SAME)
    return baseline.spread * _STEP ** np.maximum(steps, 0.0)


def case_probabilities(study: Study, row: int) -> tuple[FloatArray, FloatArray]:
    """Return the probabilities of the causes (causes,) and of all cases (J,) for one unit, none left out."""
    rows = np.array([row])
    table, serial, panel = signatures_of(study.drawn), study.findings.serials[row], study.findings.panels[row]
    causes, cases = posterior(
        study.residual[rows],
        study.spread[row],
        table,
        study.log_code[rows],
        study.seen[rows, R20],
        log_beside=case_evidence(study.copper, serial, panel, float(study.seen[row, R20]), table),
    )
    return _divided(study, rows, _with_level(study, rows, causes))[0], cases[0]


def panel_level(study: Study, members: np.ndarray) -> FloatArray:
    """Return the probability of each cause (causes,) for where the median of some units (places, N) stands."""
    seen = study.seen[members][:, _LEVEL]
    standing = np.full(len(_LEVEL), np.nan)
    there = np.isfinite(seen).any(axis=0)
    standing[there] = np.nanmedian(seen[:, there], axis=0)
    return level_probabilities(standing[None], study.reference, beyond=study.copper.beyond)[0]


def _coded(study: Study, rows: np.ndarray) -> np.ndarray:
    """Units whose code says that they are not just measured."""
    return study.log_code[rows, _NOTHING] < 0


def _with_level(study: Study, rows: np.ndarray, found: FloatArray) -> FloatArray:
    base, decisions = study.baseline, study.findings.decisions
    out = np.flatnonzero(np.array([decisions[each] != _PASS for each in rows.tolist()], dtype=bool))
    chosen = rows[out]
    standing = (base.centre if base.from_lot else study.seen)[chosen][:, _LEVEL].copy()
    standing[:, 0] = study.seen[chosen, R20]
    standing[~np.isfinite(study.seen[chosen][:, _LEVEL])] = np.nan
    share = found[out][:, [_NOTHING]]
    shared = found.copy()
    shared[out, _NOTHING] = 0.0
    shared[out] += share * level_probabilities(standing, study.reference, beyond=study.copper.beyond)
    return shared
