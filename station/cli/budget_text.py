"""Uncertainty budgets at a terminal."""

import math
from typing import TYPE_CHECKING

import click

from station.cli.output import table
from station.core.quantity import format_quantity

if TYPE_CHECKING:
    from station.app.budgets import RunBudgets
    from station.core.budget import Budget, Correlation
    from station.quality.propagation import Simulated


_SENSE = {1: "up", -1: "down", 0: ""}
"""Where the result goes if the term's cause reads too much."""


def show_budgets(found: "RunBudgets") -> None:
    """Write each budget: terms by share of variance, what dominates, what would halve U, the Monte Carlo."""
    for each in found.budgets:
        click.echo("")
        _show(each, found.simulated.get(each.characteristic))
    if any(line.term.sign for each in found.budgets for line in each.lines):
        click.echo("\nThe result goes there if the cause is too large: a meter reads too much, a sensor is too high.")
    if found.correlations:
        click.echo("\nResults that share terms: their difference or ratio is better, or worse, known than they are.")
    for pair in found.correlations:
        click.echo(f"  {pair.first} and {pair.second}: {_correlation(pair)}")


def _correlation(pair: "Correlation") -> str:
    """The coefficient with its sign; `opposite`: the cause moves the two in opposite senses."""
    if not pair.signed:
        return f"up to {pair.coefficient:.2f}, by {', '.join(pair.shared)}; signs are not on record"
    by = (f"{name} (opposite)" if name in pair.opposite else name for name in pair.shared)
    return f"{pair.coefficient:+.2f}, by {', '.join(by)}"


def _show(budget: "Budget", simulated: "Simulated | None") -> None:
    unit = budget.unit_symbol
    click.echo(
        f"{budget.characteristic} = {format_quantity(budget.value, unit, digits=6)} "
        f"± {format_quantity(budget.expanded_uncertainty, unit, digits=2)} (95 %)"
    )
    rows = [
        (
            f"  {line.term.name}",
            line.term.shape.value,
            format_quantity(line.term.standard_uncertainty, unit, digits=3),
            _freedom(line.term.degrees_of_freedom),
            f"{line.share:.1%}",
            _SENSE[line.term.sign],
        )
        for line in budget.lines
    ]
    u = format_quantity(budget.standard_uncertainty, unit, digits=3)
    rows.append(("  combined", f"k = {budget.coverage_factor:.2f}", u, _freedom(budget.degrees_of_freedom), "", ""))
    click.echo(table(("  term", "shape", "u", "degrees of freedom", "share of variance", "result goes"), rows))
    _show_meaning(budget, simulated)


def _show_meaning(budget: "Budget", simulated: "Simulated | None") -> None:
    from station.app.budgets import ADVICE

    first = budget.lines[0].term.name
    if budget.dominant is None:
        click.echo(f"  no term dominates; the largest is {first}")
    else:
        click.echo(f"  dominated by {first}, {budget.dominant.share:.0%} of the variance")
    halving = budget.halving
    if halving.names:
        by = "taken away" if math.isinf(halving.factor) else f"{halving.factor:.2g} times smaller"
        click.echo(f"  U would be halved with {', '.join(halving.names)} {by}")
    for name in halving.names:
        if name in ADVICE:
            click.echo(f"    {name}: {ADVICE[name]}")
    if simulated is not None:
        apart = budget.expanded_uncertainty / simulated.expanded_uncertainty - 1.0
        value = format_quantity(simulated.expanded_uncertainty, budget.unit_symbol, digits=3)
        click.echo(f"  Monte Carlo (JCGM 101, {simulated.draws} draws): U = {value}; stated is {apart:+.1%} of it")


def _freedom(value: float) -> str:
    if math.isinf(value):
        return "infinite"
    return f"{value:.0f}" if value < 10_000 else "over 10 000"
