"""One assessment of decision rules, as fact and as text."""

from dataclasses import dataclass
from pathlib import Path

import click

from station.cli.gauge_facts import risk_fact
from station.cli.gauge_files import study_of, text_of
from station.cli.output import table
from station.quality.process import NormalProcess, process_of_measured
from station.quality.risk import (
    Risk,
    Tolerance,
    conformance_probability,
    global_risk,
    guard_band_for_global_risk,
    guard_band_for_specific_risk,
    risk_table,
)
from station.quality.study_file import single_values

FACTORS = (0.0, 0.25, 0.5, 0.83, 1.0, 1.25, 1.5)
"""r of w = r U that the table shows: 0 is simple acceptance, 0.83 ISO 14253-1's 5 % rule, 1 ILAC-G8's usual rule."""

CURVE_POINTS = 61
CURVE_END = 1.5


@dataclass(frozen=True, slots=True)
class Assessment:
    """Risks of the usual guard bands, and the bands that hold a stated risk."""

    tolerance: Tolerance
    process: NormalProcess
    u: float
    rules: tuple[Risk, ...]
    curve: tuple[Risk, ...]
    largest: float | None
    for_global: Risk | None
    for_specific: Risk | None

    @property
    def expanded(self) -> float:
        """U = 2 u."""
        return 2.0 * self.u

    def specific(self, guard_band: float) -> float:
        """Return the largest risk that a reading on an acceptance limit leaves, no process known."""
        lower, upper = self.tolerance.lower, self.tolerance.upper
        ends = [
            end
            for end in (None if lower is None else lower + guard_band, None if upper is None else upper - guard_band)
            if end is not None
        ]
        return max(1.0 - conformance_probability(self.tolerance, end, self.u) for end in ends)

    def fact(self) -> dict[str, object]:
        """Return the assessment for JSON."""
        return {
            "tolerance": {"lower": self.tolerance.lower, "upper": self.tolerance.upper},
            "process": {"mean": self.process.mean, "standard_deviation": self.process.deviation},
            "standard_uncertainty": self.u,
            "expanded_uncertainty": self.expanded,
            "convention": "global risks are shares of all units; U = 2 u; w = r U off each limit",
            "rules": [self._rule(risk) for risk in self.rules],
            "curve": [self._rule(risk) for risk in self.curve],
            "largest_consumers_risk": None
            if self.largest is None
            else {
                "stated": self.largest,
                "global": None if self.for_global is None else self._rule(self.for_global),
                "specific": None if self.for_specific is None else self._rule(self.for_specific),
            },
        }

    def _rule(self, risk: Risk) -> dict[str, object]:
        return {**risk_fact(risk, self.expanded), "largest_specific_risk": self.specific(risk.guard_band)}

    def text(self) -> str:
        """Return the assessment as a table, with the bands asked for below it."""
        rows = [(f"r = {risk.guard_band / self.expanded:.3g}", *self._cells(risk)) for risk in self.rules]
        if self.largest is not None:
            for name, risk in (("global", self.for_global), ("specific", self.for_specific)):
                cells = ("accept nothing", "", "", "", "", "") if risk is None else self._cells(risk)
                rows.append((f"{name} <= {self.largest:g}", *cells))
        headers = (
            "rule",
            "guard band",
            "consumer's risk",
            "producer's risk",
            "accepted",
            "out among accepted",
            "at limit",
        )
        limits = " to ".join(
            "no limit" if end is None else f"{end:g}" for end in (self.tolerance.lower, self.tolerance.upper)
        )
        return "\n".join(
            [
                f"Tolerance {limits}; process {self.process.mean:.5g} with standard deviation "
                f"{self.process.deviation:.4g}; u = {self.u:g}, U = 2 u = {self.expanded:g}.",
                "",
                table(headers, rows),
                "",
                "Consumer's risk: share of all units that are out of tolerance and accepted. Producer's risk: share",
                "that are within it and rejected. At limit: risk of one unit whose reading is on the acceptance limit,",
                "no process known. r = 0 is simple acceptance; guard band w = r U (JCGM 106, 8.3.2).",
                *self._as_plan(),
            ]
        )

    def _as_plan(self) -> list[str]:
        """How a plan states the largest risk; the band then follows each result's own u."""
        if self.largest is None:
            return []
        percent, process = f"{100.0 * self.largest:g} %", self.process
        return [
            "",
            "A plan that states it lets the band follow each result's own u (quantities with their unit there):",
            f'guard = "specific risk {percent}"',
            f'guard = "global risk {percent}, mean {process.mean:.6g}, standard deviation {process.deviation:.4g}"',
        ]

    def _cells(self, risk: Risk) -> tuple[str, str, str, str, str, str]:
        return (
            f"{risk.guard_band:.4g}",
            f"{risk.consumer:.2e}",
            f"{risk.producer:.2e}",
            f"{risk.accepted:.2%}",
            f"{risk.nonconforming_among_accepted:.2e}",
            f"{self.specific(risk.guard_band):.2%}",
        )


def process_of(
    mean: float | None, deviation: float | None, values_file: Path | None, header: str, u: float
) -> NormalProcess:
    """Return the process from the options: stated, or that behind a file's measured values."""
    if values_file is not None:
        if mean is not None or deviation is not None:
            raise click.UsageError("give either --values or --process-mean and --process-deviation, not both.")
        values = single_values(text_of(values_file), str(values_file), headers={"value": header})
        with study_of(values_file):
            return process_of_measured(values.tolist(), u)
    if mean is None or deviation is None:
        raise click.UsageError("the process is needed: give --process-mean and --process-deviation, or --values.")
    try:
        return NormalProcess(mean, deviation)
    except ValueError as error:
        raise click.UsageError(f"{error}.") from error


def assessment(
    lower: float | None, upper: float | None, process: NormalProcess, u: float, largest: float | None
) -> Assessment:
    """Return the assessment. Raises click.UsageError for limits or an uncertainty that are none."""
    try:
        tolerance = Tolerance(lower, upper)
        simple = global_risk(tolerance, process, u)
    except ValueError as error:
        raise click.UsageError(f"{error}.") from error
    expanded = 2.0 * u
    curve = [CURVE_END * expanded * i / (CURVE_POINTS - 1) for i in range(CURVE_POINTS)]
    wide = risk_table(tolerance, process, u, [r * expanded for r in FACTORS[1:]])
    bands: list[Risk | None] = [None, None]
    if largest is not None:
        found = (
            guard_band_for_global_risk(tolerance, process, u, largest),
            guard_band_for_specific_risk(tolerance, u, largest),
        )
        bands = [None if w is None else global_risk(tolerance, process, u, guard_band=w) for w in found]
    return Assessment(
        tolerance,
        process,
        u,
        (simple, *wide),
        risk_table(tolerance, process, u, curve),
        largest,
        bands[0],
        bands[1],
    )
