"""Checks that go across the tables of a plan: order of methods, doubles, geometry, drive against voltage."""

import math
from collections.abc import Sequence

from station.core.characteristics import METHODS, field_name, rise_name, yields
from station.core.drawing import estimate_resistance_ohm, outer_diameter_m
from station.core.file_reader import Mistakes
from station.core.plan import (
    Characteristic,
    CoilDesign,
    FieldStep,
    FrequencyKind,
    HeatingStep,
    MethodStep,
)
from station.core.quantity import format_quantity

_OUTER_LIMIT_M = 0.5


def check_steps(steps: Sequence[MethodStep], mistakes: Mistakes) -> None:
    """Check order, doubles and what one method needs of another. Step i is the table `measure` i."""
    if not steps or steps[0].method != "contact":
        mistakes.add(
            ("measure", 0) if steps else ("measure",),
            "the first method must be 'contact': without it an open coil and a bad seat look the same",
        )
    elif steps[0].frequency.kind is not FrequencyKind.EVERY:
        mistakes.add(("measure", 0, "frequency"), "contact must be checked on every unit")
    _check_order(steps, mistakes)
    _check_doubles(steps, mistakes)
    if any(isinstance(each, HeatingStep) for each in steps) and not any(
        each.method == "resistance" for each in steps
    ):
        index = next(index for index, each in enumerate(steps) if isinstance(each, HeatingStep))
        mistakes.add(("measure", index), "heating needs 'resistance' before it, for the cold winding")


def _check_order(steps: Sequence[MethodStep], mistakes: Mistakes) -> None:
    latest = steps[0].method if steps else ""
    for index, step in enumerate(steps):
        if METHODS.index(step.method) < METHODS.index(latest):
            message = (
                f"{step.method!r} must come before {latest!r}: {latest} warms the coil or moves the sensor"
            )
            mistakes.add(("measure", index, "method"), message)
        else:
            latest = step.method


def _check_doubles(steps: Sequence[MethodStep], mistakes: Mistakes) -> None:
    owner: dict[str, int] = {}
    for index, step in enumerate(steps):
        if step.method == "contact" and index > 0:
            mistakes.add(("measure", index, "method"), "'contact' must stand once, as the first method")
        for name, _ in yields(step):
            if owner.setdefault(name, index) != index:
                mistakes.add(("measure", index), f"gives {name} again; measure {owner[name] + 1} gives it")
        _check_own_doubles(index, step, mistakes)


def _check_own_doubles(index: int, step: MethodStep, mistakes: Mistakes) -> None:
    names: list[str] = []
    if isinstance(step, FieldStep):
        names = [field_name(each) for each in step.heights_m]
        if not names:
            mistakes.add(("measure", index, "heights"), "must name at least one height, such as '2 mm'")
    elif isinstance(step, HeatingStep):
        names = [rise_name(each, step.drive_quantity) for each in step.drives]
        if list(step.drives) != sorted(step.drives):
            mistakes.add(("measure", index, "drive"), "must climb: the ladder goes from low to high")
        if not names:
            mistakes.add(("measure", index, "drive"), "must name at least one drive, such as '3 V'")
    for name in sorted({each for each in names if names.count(each) > 1}):
        mistakes.add(("measure", index), f"gives {name} twice")


def check_coil(coil: CoilDesign, mistakes: Mistakes) -> None:
    """Check that the drawing can be made. NaN (already a mistake) passes."""
    if coil.layers == 1 and coil.layer_gap_m > 0.0:
        mistakes.add(("coil", "layer_gap"), "must be left out for one layer")
    if coil.layers > 1 and coil.layer_gap_m == 0.0:
        mistakes.add(("coil", "layer_gap"), "is missing; must be a text such as '50 um', copper to copper")
    if coil.shape == "polygon" and coil.sides == 0:
        mistakes.add(("coil", "sides"), "is missing; a polygon needs a number of sides from 3 to 100")
    if coil.shape != "polygon" and coil.sides:
        mistakes.add(("coil", "sides"), "is for the shape 'polygon' only")
    outer = outer_diameter_m(coil)
    if outer > _OUTER_LIMIT_M:
        mistakes.add(("coil",), f"makes a coil {format_quantity(outer, 'm')} across; at most 0.5 m can be")


def check_drive(
    coil: CoilDesign,
    steps: Sequence[MethodStep],
    characteristics: Sequence[Characteristic],
    mistakes: Mistakes,
) -> None:
    """Check that the field's drive can flow: I x R within the voltage limit for the largest R that passes."""
    estimate = estimate_resistance_ohm(coil)
    upper = next((each.upper for each in characteristics if each.name == "R20"), None)
    largest, source = estimate, "the drawing"
    if upper is not None and not upper <= estimate:
        largest, source = upper, "the upper limit of R20"
    for index, step in enumerate(steps):
        if not isinstance(step, FieldStep) or math.isnan(largest):
            continue
        needed = step.drive_a * largest
        limit = format_quantity(step.voltage_limit_v, "V", digits=3)
        if needed > step.voltage_limit_v:
            message = (
                f"needs {format_quantity(needed, 'V', digits=3)} at {format_quantity(largest, 'ohm')} "
                f"({source}), above the voltage limit of {limit}; "
                "lower the drive or raise `voltage_limit`"
            )
            mistakes.add(("measure", index, "drive"), message)


def check_guards(characteristics: Sequence[Characteristic], mistakes: Mistakes) -> None:
    """Check that a process that a guard band stands on lies within its limits: another one is a slip of the unit."""
    for each in characteristics:
        mean = each.guard.process_mean
        if mean is None:
            continue
        below = each.lower is not None and mean <= each.lower
        if below or (each.upper is not None and mean >= each.upper):
            said = format_quantity(mean, each.unit_symbol, digits=None)
            message = f"states a process whose mean, {said}, is not within the limits"
            mistakes.add(("characteristic", each.name, "guard"), message)
