"""The uncertainty budgets of a run, as facts and with the Monte Carlo where the shape decides."""

from collections.abc import Iterable
from dataclasses import dataclass

from station.core.budget import Budget, Correlation, budget_of, correlations_of
from station.core.results import Result
from station.quality.propagation import Simulated, simulate_terms

ADVICE = {
    "meter": "a meter, or a range of it, with a smaller accuracy figure",
    "meter gain": "a meter with a smaller basic accuracy at this frequency",
    "meter phase": "a higher test frequency (phase errors count over Q), or a meter with a smaller phase error",
    "contacts": "cleaner probes, and contact_half_width as measured",
    "thermometer": "a better thermometer near the coil",
    "winding against thermometer": "coil_temperature_half_width as measured with the nest at rest",
    "still warm": "a longer still_interval: the slope is then known better",
    "current": "a source that measures its current better",
    "field sensor": "a field sensor that is calibrated better",
    "height setting": "height_half_width as measured, or heights where the field is flatter",
    "lateral setting": "lateral_half_width as measured, or better stops",
    "repeatability": "more readings: half of it takes four times as many",
}
"""What makes a term smaller; the names are the methods' own."""


@dataclass(frozen=True, slots=True)
class RunBudgets:
    """Every budget of a run, what results share, and the Monte Carlo of those that need one, by characteristic."""

    budgets: tuple[Budget, ...]
    correlations: tuple[Correlation, ...]
    simulated: dict[str, Simulated]


def budgets_of(results: Iterable[Result], *, monte_carlo: bool = True) -> RunBudgets:
    """Return the budgets of all measured results, in their order; without `monte_carlo` a hundred times sooner."""
    kept = tuple(results)
    budgets = tuple(found for each in kept if (found := budget_of(each)) is not None)
    simulated = {
        each.characteristic: simulate_terms([line.term for line in each.lines])
        for each in budgets
        if monte_carlo and each.needs_monte_carlo
    }
    return RunBudgets(budgets, correlations_of(kept), simulated)


def budgets_fact(found: RunBudgets) -> dict[str, object]:
    """Return budgets and correlations for `--json`; SI, unscaled, None for infinite."""
    return {
        "budgets": {each.characteristic: _budget_fact(each, found.simulated) for each in found.budgets},
        "correlations": [
            {
                "characteristics": [each.first, each.second],
                "shared": list(each.shared),
                "opposite": list(each.opposite) if each.signed else None,
                "coefficient": each.coefficient if each.signed else None,
                "largest_coefficient": abs(each.coefficient),
            }
            for each in found.correlations
        ],
    }


def _budget_fact(budget: Budget, simulated: dict[str, Simulated]) -> dict[str, object]:
    checked = simulated.get(budget.characteristic)
    return {
        "value": budget.value,
        "unit": budget.unit_symbol,
        "standard_uncertainty": budget.standard_uncertainty,
        "degrees_of_freedom": _finite(budget.degrees_of_freedom),
        "coverage_factor": budget.coverage_factor,
        "expanded_uncertainty": budget.expanded_uncertainty,
        "terms": [
            {
                "name": line.term.name,
                "shape": line.term.shape.value,
                "standard_uncertainty": line.term.standard_uncertainty,
                "degrees_of_freedom": _finite(line.term.degrees_of_freedom),
                "share_of_variance": line.share,
                "sign": line.term.sign or None,
            }
            for line in budget.lines
        ],
        "dominant": None if budget.dominant is None else budget.dominant.term.name,
        "halved_by": {"terms": list(budget.halving.names), "each_smaller_by": _finite(budget.halving.factor)},
        "monte_carlo_expanded_uncertainty": None if checked is None else checked.expanded_uncertainty,
    }


def _finite(value: float) -> float | None:
    return None if value == float("inf") else value
