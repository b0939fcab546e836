"""Reads what a plan says of what comes after measuring: `[sets]` and `[trays]`."""

from collections.abc import Iterable

from station.core.characteristics import yields
from station.core.file_reader import Table, did_you_mean
from station.core.plan import FrequencyKind, MethodStep, SetPlan, TrayPlan
from station.core.quantity import Dimension, QuantityError, parse_quantity

MOST_IN_SET = 100
MOST_POCKETS = 10_000


def read_sets(root: Table, steps: Iterable[MethodStep]) -> SetPlan | None:
    """Return what `[sets]` says; None without it. Mistakes are noted."""
    # Asked for in any case: a misspelt table is told with the one that was meant.
    table = root.table("sets")
    if "sets" not in root:
        return None
    size = table.integer("size", lower=2, upper=MOST_IN_SET)
    tolerance = table.table("tolerance", required=True)
    found = SetPlan(size, _read_tolerances(tolerance, tuple(steps)))
    table.close()
    return found


def read_trays(root: Table) -> TrayPlan | None:
    """Return what `[trays]` says; None without it. Mistakes are noted."""
    table = root.table("trays")
    if "trays" not in root:
        return None
    found = TrayPlan(table.integer("pockets", lower=1, upper=MOST_POCKETS))
    table.close()
    return found


def tolerance_mistake(text: str, unit_symbol: str) -> str:
    """Return what is wrong with a set's tolerance of a characteristic in that unit; empty if nothing is."""
    try:
        value = parse_quantity(text, Dimension.FRACTION if is_relative(text) else unit_symbol)
    except QuantityError as error:
        return f"{error}, or a percentage such as '1 %'"
    return "" if value > 0.0 else f"must be above 0; got {text!r}"


def is_relative(text: str) -> bool:
    """Tell whether a tolerance is a share of the value: `1 %`, `500 ppm`."""
    return text.rstrip().endswith(("%", "ppm"))


def _read_tolerances(table: Table, steps: tuple[MethodStep, ...]) -> tuple[tuple[str, str], ...]:
    known = {name: (unit, step.frequency.kind) for step in steps for name, unit in yields(step)}
    found: list[tuple[str, str]] = []
    for name in table.names():
        text = table.text(name).strip()
        if name not in known:
            # Without methods that stand it is not known what they would give: one mistake is not told twice.
            if known:
                table.mistake(name, f"no method of this plan gives it{did_you_mean(name, known)}")
            continue
        unit, kind = known[name]
        wrong = tolerance_mistake(text, unit) if text else ""
        if wrong:
            table.mistake(name, wrong)
        elif kind is not FrequencyKind.EVERY:
            table.mistake(name, "is not due for every unit, so most units have no value to agree in")
        found.append((name, text))
    if not table.names() and known:
        table.mistake("", 'must name what the units of a set agree in, such as R20 = "1 %"')
    return tuple(found)
