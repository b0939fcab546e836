"""Matched sets in words and plain tables."""

from collections.abc import Sequence

import numpy as np

from station.app.matching import Candidates, Quantity
from station.cli.output import table
from station.core.quantity import Dimension, format_quantity
from station.quality.set_classes import SetClasses
from station.quality.sets import MatchedSets

SHOWN_SETS = 20


def sets_text(units: Candidates, found: MatchedSets, names: Sequence[str], *, recorded: bool, asked: str = "") -> str:
    """Return how many sets, how tight, which units, and what is left. `asked`: where size and tolerances come from."""
    lots = ", ".join(units.lots)
    bound = (
        "no way makes more"
        if found.proved_optimal
        else f"no way makes more than {found.most_possible}"
    )
    lines = [
        f"Lot {lots}{' (simulated)' if units.simulated else ''}: {len(found.sets)} sets of {found.size} "
        f"from {len(units.serials)} units ({bound}); {len(found.left)} left for the next lot.",
        *([f"Size and tolerances: {asked}."] if asked else []),
        *(_agreement(each, found.spreads[:, j]) for j, each in enumerate(units.quantities) if found.sets),
        "",
    ]
    first = units.quantities[0]
    rows = [
        (
            name,
            format_quantity(float(units.values[list(members), 0].mean()), first.unit_symbol),
            *(_spread(each, float(spread)) for each, spread in zip(units.quantities, spreads, strict=True)),
            "  ".join(units.serials[i] for i in members),
        )
        for name, members, spreads in list(zip(names, found.sets, found.spreads, strict=True))[:SHOWN_SETS]
    ]
    spread_heads = [f"spread {each.characteristic}" for each in units.quantities]
    if rows:
        lines.append(table(("set", f"mean {first.characteristic}", *spread_heads, "units"), rows))
    if len(found.sets) > SHOWN_SETS:
        lines.append(f"and {len(found.sets) - SHOWN_SETS} more; --to FILE.csv or --json has all")
    if units.without_value:
        lines.append(f"{units.without_value} good units lack a value and were left out.")
    if units.in_sets:
        lines.append(f"{units.in_sets} good units are in recorded sets already.")
    ending = "On record." if recorded else "Proposed only: --record puts the sets on record."
    return "\n".join([*lines, "", ending, f"Population: {found.population}."])


def classes_text(units: Candidates, found: SetClasses, best: int) -> str:
    """Return the classes with their counts, and what picking by a list would give."""
    quantity = units.quantities[0]
    unit = quantity.unit_symbol
    rows = [
        (
            str(i + 1),
            f"[{format_quantity(float(low), unit)}, {format_quantity(float(high), unit)})",
            str(int(count)),
            str(int(count) // found.size),
        )
        for i, (low, high, count) in enumerate(zip(found.edges[:-1], found.edges[1:], found.counts, strict=True))
    ]
    lines = [
        f"Lot {', '.join(units.lots)}{' (simulated)' if units.simulated else ''}: any {found.size} units of a class "
        f"agree in {quantity.characteristic}; {found.sets} sets by classes, {best} by a pick list.",
        table(("class", quantity.characteristic, "units", "sets"), rows),
        "",
        f"Population: {found.population}.",
    ]
    return "\n".join(lines)


def _agreement(quantity: Quantity, spreads: np.ndarray) -> str:
    limit = _spread(quantity, quantity.agreed.within)
    middle, largest = _spread(quantity, float(np.median(spreads))), _spread(quantity, float(spreads.max()))
    return f"{quantity.characteristic} agrees within {limit}: spread {middle} in the median set, {largest} at most."


def _spread(quantity: Quantity, value: float) -> str:
    unit = Dimension.FRACTION if quantity.agreed.relative else quantity.unit_symbol
    return format_quantity(value, unit, digits=3)
