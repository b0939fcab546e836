"""Crossed repeatability and reproducibility by analysis of variance (AIAG MSA, 4th edition, chapter III-B, appendix A).

Two-way random-effects model: reading = part + appraiser + part x appraiser + repeatability. Expected mean squares after
Montgomery and Runger (1993). With one appraiser (an automatic bench) it is the one-way model: no reproducibility.
"""

import math
from dataclasses import dataclass

from station.quality.factors import f_probability
from station.quality.readings import CrossedReadings
from station.quality.variation import Variation

POOLING_SIGNIFICANCE = 0.25
"""The interaction is pooled with repeatability if its p is above this (AIAG MSA, 4th edition)."""


@dataclass(frozen=True, slots=True)
class Line:
    """One source of an analysis of variance. F and p are None where the source is not tested."""

    source: str
    degrees_of_freedom: int
    sum_of_squares: float
    mean_square: float
    f: float | None = None
    p: float | None = None
    f_against_repeatability: float | None = None
    """Against the repeatability mean square, as AIAG's table prints it; `f` has the random model's divisor."""


@dataclass(frozen=True, slots=True)
class AnovaTable:
    """Lines by source: part, appraiser, interaction (each if present), repeatability; and the total."""

    parts: int
    appraisers: int
    trials: int
    lines: tuple[Line, ...]
    total_degrees_of_freedom: int
    total_sum_of_squares: float

    def line(self, source: str) -> Line | None:
        """Return the line of a source, or None."""
        return next((line for line in self.lines if line.source == source), None)

    def mean_square(self, source: str) -> float:
        """Return a mean square; that of an absent interaction is the repeatability's, which it is pooled with."""
        line = self.line(source) or self.lines[-1]
        return line.mean_square


def anova_table(readings: CrossedReadings) -> AnovaTable:
    """Return the table with the interaction kept.

    F of part and appraiser is against the interaction (random model); `f_against_repeatability` is AIAG's column.
    """
    # About the mean first: squares of the readings themselves would cancel.
    y = readings.values - readings.values.mean()
    parts, appraisers, trials = y.shape
    cells = y.mean(axis=2)
    part, appraiser = y.mean(axis=(1, 2)), y.mean(axis=(0, 2))
    squares = {"part": appraisers * trials * float(part @ part)}
    freedom = {"part": parts - 1}
    if appraisers > 1:
        squares["appraiser"] = parts * trials * float(appraiser @ appraiser)
        freedom["appraiser"] = appraisers - 1
        crossed = cells - part[:, None] - appraiser[None, :]
        squares["interaction"] = trials * float((crossed**2).sum())
        freedom["interaction"] = (parts - 1) * (appraisers - 1)
    squares["repeatability"] = float(((y - cells[:, :, None]) ** 2).sum())
    freedom["repeatability"] = parts * appraisers * (trials - 1)
    lines = _lines(squares, freedom)
    return AnovaTable(parts, appraisers, trials, lines, y.size - 1, float((y**2).sum()))


def pooled_table(table: AnovaTable) -> AnovaTable:
    """Return the table with the interaction's squares and freedom added to the repeatability's."""
    squares = {line.source: line.sum_of_squares for line in table.lines}
    freedom = {line.source: line.degrees_of_freedom for line in table.lines}
    squares["repeatability"] += squares.pop("interaction", 0.0)
    freedom["repeatability"] += freedom.pop("interaction", 0)
    return AnovaTable(
        table.parts,
        table.appraisers,
        table.trials,
        _lines(squares, freedom),
        table.total_degrees_of_freedom,
        table.total_sum_of_squares,
    )


def _lines(squares: dict[str, float], freedom: dict[str, int]) -> tuple[Line, ...]:
    mean = {source: squares[source] / freedom[source] for source in squares}
    base = "interaction" if "interaction" in mean else "repeatability"
    lines = []
    for source, square in squares.items():
        if source == "repeatability":
            lines.append(Line(source, freedom[source], square, mean[source]))
            continue
        against = "repeatability" if source == "interaction" else base
        f = _ratio(mean[source], mean[against])
        p = f_probability(f, freedom[source], freedom[against]) if math.isfinite(f) else 0.0
        plain = _ratio(mean[source], mean["repeatability"])
        lines.append(Line(source, freedom[source], square, mean[source], f, p, plain))
    return tuple(lines)


def _ratio(above: float, below: float) -> float:
    # An interaction of exactly nothing (constructed readings) leaves nothing to divide by.
    return above / below if below > 0.0 else math.inf


def variation_of(table: AnovaTable) -> Variation:
    """Return the variances by source, from the expected mean squares; a negative estimate counts as 0.

    s2 interaction = (MS_i - MS_r) / trials; appraiser = (MS_a - MS_i) / (parts trials); part = (MS_p - MS_i) /
    (appraisers trials); without interaction MS_r stands for MS_i.
    """
    between = table.mean_square("interaction")
    repeatability = table.mean_square("repeatability")
    interaction = (between - repeatability) / table.trials
    part = (table.mean_square("part") - between) / (table.appraisers * table.trials)
    appraiser = 0.0
    if table.line("appraiser") is not None:
        appraiser = (table.mean_square("appraiser") - between) / (table.parts * table.trials)
    return Variation(repeatability, max(0.0, appraiser), max(0.0, interaction), max(0.0, part))


def may_pool(table: AnovaTable, *, significance: float = POOLING_SIGNIFICANCE) -> bool:
    """Return whether the interaction is to be pooled: there is one, and its p is above `significance`."""
    line = table.line("interaction")
    return line is not None and line.p is not None and line.p > significance
