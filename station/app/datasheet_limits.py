"""From a datasheet's promise to the limits that a control plan needs to keep it: proposed, never released by itself."""

from collections.abc import Mapping

import numpy as np

from station.core.characteristics import yields
from station.core.frequency import frequency_words
from station.core.plan import FrequencyKind, Plan
from station.core.quantity import format_quantity, parse_quantity
from station.quality.sample import Sample
from station.reports.datasheet import Datasheet, Line
from station.reports.datasheet_limits import ProposedLimit

_DIGITS = 4
"""Of a printed figure: the promise is what is printed."""


def proposed_limits(plan: Plan, lines: tuple[Line, ...], samples: Mapping[str, Sample]) -> tuple[ProposedLimit, ...]:
    """Return limits for each line that states an end. `samples`: the values that the line stands on, by name."""
    often = {name: step.frequency for step in plan.steps for name, _ in yields(step)}
    found = []
    for each in lines:
        limited = plan.characteristic(each.name)
        lower, upper = _rounded(each.stated.minimum, each.unit_symbol), _rounded(each.stated.maximum, each.unit_symbol)
        # Where the plan judges one side only (a rise has no lower limit), so does the proposal.
        lower = None if limited is not None and limited.lower is None else lower
        upper = None if limited is not None and limited.upper is None else upper
        if lower is None and upper is None:
            continue
        frequency = often[each.name]
        words = "" if frequency.kind is FrequencyKind.EVERY else frequency_words(frequency)
        values = samples[each.name].values
        limit = ProposedLimit(
            each.name, each.unit_symbol, lower, upper, each.expanded_uncertainty, 0, values.size, words
        )
        found.append(_counted(limit, values))
    return tuple(found)


def limits_text(sheet: Datasheet, limits: tuple[ProposedLimit, ...]) -> str:
    """Return the limits as plan text to be looked at, pasted into a plan and released by somebody."""
    which = sheet.revisions.words.lower()
    lines = [
        f"# PROPOSED, not released: limits that follow from the datasheet of {sheet.name}, {which},",
        f"# from {', '.join(sheet.lots)}.{' SIMULATED units.' if sheet.simulated else ''}",
        "# Bins that split the old limits must follow. Check the whole plan before you release it:",
        "# coilgate plan check FILE",
    ]
    for each in limits:
        name = each.name if each.name.isalnum() else f'"{each.name}"'
        lines += ["", f"[characteristic.{name}]"]
        if each.frequency:
            lines.append(f"# judged on measured units only: {each.frequency}")
        if each.lower is not None:
            lines.append(f'lower = "{format_quantity(each.lower, each.unit_symbol, digits=None)}"')
        if each.upper is not None:
            lines.append(f'upper = "{format_quantity(each.upper, each.unit_symbol, digits=None)}"')
        lines.append(
            f'guard = "U95"    # U {_text(each.expanded_uncertainty, each.unit_symbol)}: accepted from '
            f"{_text(each.acceptance_lower, each.unit_symbol)} to {_text(each.acceptance_upper, each.unit_symbol)}"
        )
    return "\n".join(lines) + "\n"


def limits_fact(limits: tuple[ProposedLimit, ...]) -> list[dict[str, object]]:
    """Return the limits as plain data; SI, unscaled."""
    return [
        {
            "characteristic": each.name,
            "unit": each.unit_symbol,
            "lower": each.lower,
            "upper": each.upper,
            "expanded_uncertainty": each.expanded_uncertainty,
            "acceptance_lower": each.acceptance_lower,
            "acceptance_upper": each.acceptance_upper,
            "outside": each.outside,
            "units": each.units,
            "frequency": each.frequency or "every unit",
        }
        for each in limits
    ]


def _rounded(value: float | None, unit: str) -> float | None:
    return None if value is None else parse_quantity(format_quantity(value, unit, digits=_DIGITS), unit)


def _counted(limit: ProposedLimit, values: np.ndarray) -> ProposedLimit:
    low, high = limit.acceptance_lower, limit.acceptance_upper
    below = 0 if low is None else int((values < low).sum())
    above = 0 if high is None else int((values > high).sum())
    return ProposedLimit(
        limit.name,
        limit.unit_symbol,
        limit.lower,
        limit.upper,
        limit.expanded_uncertainty,
        below + above,
        limit.units,
        limit.frequency,
    )


def _text(value: float | None, unit: str) -> str:
    return "anything" if value is None else format_quantity(value, unit, digits=_DIGITS)
