"""The soak table: one row a family and rule, from all stops."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from station.heating_fit.study import COVERAGE_FACTOR, Stop


@dataclass(frozen=True, slots=True)
class SoakRow:
    """What a rule did on a family.

    `stop_time_constants` is the mean stop in main time constants, `false_fraction` the part outside what the
    rule promises, `coverage_fraction` the part whose 95 % interval holds the truth (None for a rule without),
    `saved_fraction` the soak time saved against the plateau rule, `cost_s` processor time a sample.
    """

    family: str
    rule: str
    curves: int
    stop_s: float
    stop_time_constants: float
    rms_k: float
    false_fraction: float
    coverage_fraction: float | None
    saved_fraction: float
    not_met_fraction: float
    cost_s: float


def soak_rows(stops: Sequence[Stop]) -> tuple[SoakRow, ...]:
    """Return the rows in the order in which families and rules first appear."""
    groups: dict[tuple[str, str], list[Stop]] = {}
    for each in stops:
        groups.setdefault((each.family, each.rule), []).append(each)
    plateau_s = {
        family: float(np.mean([each.stop_s for each in group]))
        for (family, rule), group in groups.items()
        if rule == "plateau"
    }
    return tuple(_row(group, plateau_s.get(family, np.nan)) for (family, _), group in groups.items())


def _row(group: Sequence[Stop], plateau_s: float) -> SoakRow:
    errors = np.array([each.error_k for each in group])
    stops_s = np.array([each.stop_s for each in group])
    spread = np.array([each.standard_uncertainty_k for each in group])
    samples = sum(each.samples for each in group)
    return SoakRow(
        group[0].family,
        group[0].rule,
        len(group),
        float(stops_s.mean()),
        float(np.mean(stops_s / np.array([each.main_s for each in group]))),
        float(np.sqrt(np.mean(errors**2))),
        float(np.mean(np.abs(errors) > np.array([each.allowed_k for each in group]))),
        float(np.mean(np.abs(errors) <= COVERAGE_FACTOR * spread)) if samples else None,
        float(1.0 - stops_s.mean() / plateau_s),
        float(np.mean([not each.met for each in group])),
        sum(each.fit_s for each in group) / samples if samples else 0.0,
    )
