"""Narrow told from thin: what widths, coupons and sections say about copper, together with what R20 reads.

ln R20 against the drawing is a sum: less the relative width, less the relative thickness, plus resistivity, plus what
sits at one place (a neck, a via). Width and thickness are each a panel's and a unit's own. All as one normal model:
priors, then everything measured by linear updating (JCGM 100's law of propagation turned round; Bayes' rule).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from station.causes.kinds import CAUSES, Cause
from station.coil.geometry import FloatArray

WIDTH, SHEET, THICKNESS = "width", "sheet", "thickness"

_USUAL_LOCAL_SD = 0.015
_PRIOR_SD = np.array([0.06, 0.08, 0.015, 0.04, 0.02, _USUAL_LOCAL_SD])
"""Relative, ours: etch and plating of a panel, a unit's own etch and plating within its panel, resistivity of plated
copper, and necks and vias of a unit that stands like its panel. Of an odd one they may be all that it is odd by."""

_ROWS: dict[tuple[str, bool], tuple[float, ...]] = {
    (WIDTH, True): (1, 0, 1, 0, 0, 0),
    (WIDTH, False): (1, 0, 0, 0, 0, 0),
    (THICKNESS, True): (0, 1, 0, 1, 0, 0),
    (THICKNESS, False): (0, 1, 0, 0, 0, 0),
    (SHEET, True): (0, -1, 0, -1, 1, 0),
    (SHEET, False): (0, -1, 0, 0, 1, 0),
}
_UNIT_R = np.array([-1.0, -1.0, -1.0, -1.0, 1.0, 1.0])
_PANEL_R = np.array([-1.0, -1.0, 0.0, 0.0, 1.0, 0.0])
_PARTS = np.array([[-1, 0, -1, 0, 0, 0], [0, -1, 0, -1, 1, 0], [0, 0, 0, 0, 0, 1]], dtype=float)
"""Width's, thickness and resistivity's, and one place's part in ln R20."""

_UNIT_R_SD, _PANEL_R_SD = 0.004, 0.015
"""Of R20 beside its own bench: the model's error; and of a panel's median: the necks that all its units have (ours)."""

_PLATED = 0.08
"""What a unit's ln R20 may differ from its panel's by plating alone: twice the prior's standard deviation."""

_OTHER_PANEL_SD = np.array([0.02, 0.06])
"""Of width and sheet resistance from panel to panel of a lot (ours), unless the lot's R20 varies less."""

_DRAWS, _FEWER_DRAWS, _MANY, _AT_ONCE = 4_096, 512, 200, 512

_WORTH_DIVIDING = 1e-4

NARROW_PARTS = (Cause.NARROW_TRACK, Cause.THIN_COPPER, Cause.LOCAL)
WIDE_PARTS = (Cause.WIDE_TRACK, Cause.THICK_COPPER)


@dataclass(frozen=True, eq=False)
class CopperFinding:
    """One thing measured on copper. subject: serial or panel. of_unit: on that unit itself, not beside it.

    quantities: WIDTH, SHEET (rho/t), THICKNESS; values: ln of each against the drawing (k,); covariance (k, k).
    """

    subject: str
    of_unit: bool
    quantities: tuple[str, ...]
    values: FloatArray
    covariance: FloatArray
    words: str


@dataclass(frozen=True, eq=False)
class CopperParts:
    """What makes up ln R20 of units against the drawing. parts: width's, thickness and resistivity's, one place's,
    shape (N, 3); covariance (N, 3, 3)."""

    parts: FloatArray
    covariance: FloatArray

    def main(self, *, narrow: bool) -> FloatArray:
        """Return the probability that each part is the largest one that raises R20 (`narrow`) or lowers it, (N, 3).

        By draws of a fixed seed. One place never lowers it.
        """
        draws = _DRAWS if len(self.parts) <= _MANY else _FEWER_DRAWS
        noise = np.random.default_rng(1).standard_normal((draws, 3))
        sign = 1.0 if narrow else -1.0
        found = np.zeros_like(self.parts)
        for start in range(0, len(self.parts), _AT_ONCE):
            some = slice(start, start + _AT_ONCE)
            roots = np.linalg.cholesky(self.covariance[some] + 1e-12 * np.eye(3))
            drawn = sign * (self.parts[some, None, :] + noise @ roots.transpose(0, 2, 1))
            if not narrow:
                drawn[..., 2] = -np.inf
            largest = drawn.argmax(axis=2)
            found[some] = np.stack([(largest == part).mean(axis=1) for part in range(3)], axis=1)
        return found


@dataclass(frozen=True, eq=False)
class _Normal:
    mean: FloatArray
    covariance: FloatArray

    def with_seen(self, rows: FloatArray, values: FloatArray, covariance: FloatArray) -> "_Normal":
        gain = self.covariance @ rows.T @ np.linalg.inv(rows @ self.covariance @ rows.T + covariance)
        return _Normal(self.mean + gain @ (values - rows @ self.mean), self.covariance - gain @ rows @ self.covariance)

    def with_one(self, row: FloatArray, value: float, sd: float) -> "_Normal":
        return self.with_seen(row[None], np.array([value]), np.array([[sd**2]]))


def copper_parts(
    findings: Sequence[CopperFinding], resistance: FloatArray, panel_resistance: float, bench_sd: float
) -> CopperParts:
    """Return what makes up R20 of units that the same findings stand for.

    resistance: ln R20 against the drawing (N,). panel_resistance: of their panel's median, NaN where it has none of its
    own. bench_sd: relative, of the bench's own shift.
    """
    known = _informed(findings)
    if np.isfinite(panel_resistance):
        known = known.with_one(_PANEL_R, panel_resistance, float(np.hypot(_PANEL_R_SD, bench_sd)))
    odd = resistance - (panel_resistance if np.isfinite(panel_resistance) else 0.0)
    # Each unit's one place may bring what plating can't: that is the only thing in which the units differ.
    before = np.repeat(known.covariance[None], len(resistance), axis=0)
    before[:, -1, -1] += _beyond_plating(odd) ** 2
    across = before @ _UNIT_R
    innovation = across @ _UNIT_R + _UNIT_R_SD**2 + bench_sd**2
    gain = across / innovation[:, None]
    means = known.mean + gain * (resistance - _UNIT_R @ known.mean)[:, None]
    after = before - gain[:, :, None] * across[:, None, :]
    return CopperParts(means @ _PARTS.T, _PARTS @ after @ _PARTS.T)


def middle_parts(findings: Sequence[CopperFinding], resistance: float, bench_sd: float) -> CopperParts:
    """Return what makes up ln R20 of a lot's or panel's middle, where no unit's own copper comes in; one row."""
    doubt = float(np.hypot(_PANEL_R_SD, bench_sd))
    known = _informed(findings).with_one(_PANEL_R, resistance, doubt)
    panel_only = _PARTS * (_PANEL_R != 0)
    covariance = panel_only @ known.covariance @ panel_only.T
    covariance[2, 2] += _USUAL_LOCAL_SD**2
    parts = panel_only @ known.mean
    parts[2] = resistance - parts[:2].sum()
    return CopperParts(parts[None], covariance[None])


def unexplained(findings: Sequence[CopperFinding], resistance: float) -> tuple[float, float]:
    """Return what ln R20 is beyond measured copper and usual necks, and the standard deviation of that.

    resistance: a unit's own if one of the findings is of the unit, else its panel's.
    """
    known = _informed(findings)
    row = (_UNIT_R if any(each.of_unit for each in findings) else _PANEL_R).copy()
    row[-1] = 0.0
    doubt = float(np.hypot(np.sqrt(row @ known.covariance @ row), _USUAL_LOCAL_SD))
    return resistance - float(row @ known.mean), doubt


def beside_unit(findings: Sequence[CopperFinding], resistance: float, panel_resistance: float) -> CopperFinding:
    """Return what was found on one unit, or beside it, as it speaks of the middle of its panel.

    By how much R20 of the unit (ln, against the drawing) differs from its panel's, its copper does.
    """
    odd = resistance - panel_resistance
    known = _Normal(np.zeros(3), np.diag(_PRIOR_SD[[2, 3, 5]] ** 2 + [0.0, 0.0, _beyond_plating(odd) ** 2]))
    if np.isfinite(odd):
        known = known.with_one(np.array([-1.0, -1.0, 1.0]), odd, _PANEL_R_SD)
    own = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, -1.0, 0.0]])  # of WIDTH, THICKNESS, SHEET
    quantities = [name for each in findings for name in each.quantities]
    rows = own[[(WIDTH, THICKNESS, SHEET).index(name) for name in quantities]]
    values = np.concatenate([each.values for each in findings]) - rows @ known.mean
    covariance = _blocks([each.covariance for each in findings]) + rows @ known.covariance @ rows.T
    return CopperFinding(findings[0].subject, False, tuple(quantities), values, covariance, "")


def lot_finding(
    panels: Sequence[tuple[Sequence[CopperFinding], float]], bench_sd: float, *, panel_spread: float, another: bool
) -> CopperFinding:
    """Return what the panels looked at (findings, ln R20 of the panel) say about the lot's middle, or about `another`
    panel that was not looked at. panel_spread: standard deviation of ln R20 between panels, inf where not known."""
    rows = np.array([_ROWS[(WIDTH, False)], _ROWS[(SHEET, False)]], dtype=float)
    means, covariances = [], []
    for findings, resistance in panels:
        known = _informed(findings)
        if np.isfinite(resistance):
            known = known.with_one(_PANEL_R, resistance, float(np.hypot(_PANEL_R_SD, bench_sd)))
        means.append(rows @ known.mean)
        covariances.append(rows @ known.covariance @ rows.T)
    spread = np.diag(np.minimum(_OTHER_PANEL_SD, panel_spread) ** 2) * (1.0 / len(means) + another)
    own = np.mean(covariances, axis=0) / len(means)
    return CopperFinding("", False, (WIDTH, SHEET), np.mean(means, axis=0), own + spread, "")


def divided(probabilities: FloatArray, parts: CopperParts) -> FloatArray:
    """Return probabilities of causes (N, causes) with narrow or thin, wide or thick copper divided by its parts."""
    found = probabilities.copy()
    for whole, names, narrow in ((Cause.NARROW, NARROW_PARTS, True), (Cause.WIDE, WIDE_PARTS, False)):
        place = CAUSES.index(whole)
        rows = np.flatnonzero(found[:, place] > _WORTH_DIVIDING)
        if not len(rows):
            continue
        shares = CopperParts(parts.parts[rows], parts.covariance[rows]).main(narrow=narrow)
        for column, name in enumerate(names):
            found[rows, CAUSES.index(name)] += shares[:, column] * found[rows, place]
        found[rows, place] = 0.0
    return found


def parts_words(parts: CopperParts, total: float) -> str:
    """Say what the parts of the first unit are; +- is two standard deviations."""
    doubts = 2 * np.sqrt(np.diag(parts.covariance[0]))
    shown = [
        f"{name} {value:+.1%} +- {doubt:.1%}"
        for name, value, doubt in zip(
            ("width", "thickness and resistivity", "narrow places and vias"), parts.parts[0], doubts, strict=True
        )
    ]
    return f"of R20's {np.expm1(total):+.1%} against the drawing: {', '.join(shown)}."


def _beyond_plating(odd: FloatArray | float) -> FloatArray:
    """Standard deviation of what one place brings to a unit that is so odd; 0 for an unknown one."""
    return np.maximum(np.nan_to_num(np.abs(odd)) - _PLATED, 0.0)


def _blocks(pieces: Sequence[FloatArray]) -> FloatArray:
    """Put square matrices along a diagonal."""
    sizes = [len(each) for each in pieces]
    found, at = np.zeros((sum(sizes), sum(sizes))), 0
    for each, size in zip(pieces, sizes, strict=True):
        found[at : at + size, at : at + size] = each
        at += size
    return found


def _informed(findings: Sequence[CopperFinding]) -> _Normal:
    known = _Normal(np.zeros(len(_PRIOR_SD)), np.diag(_PRIOR_SD**2))
    for each in findings:
        rows = np.array([_ROWS[(name, each.of_unit)] for name in each.quantities], dtype=float)
        known = known.with_seen(rows, each.values, each.covariance)
    return known
