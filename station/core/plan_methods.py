"""Reads the `[[measure]]` tables of a plan: each method with its settings."""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

from station.core.characteristics import METHODS, frequency_suffix
from station.core.file_reader import Table
from station.core.frequency import parse_frequency
from station.core.plan import (
    ContactStep,
    FieldStep,
    Frequency,
    HeatingStep,
    InductanceStep,
    MethodStep,
    ResistanceStep,
)
from station.core.quantity import Dimension, QuantityError, parse_quantity


def read_steps(tables: Sequence[Table]) -> tuple[MethodStep, ...]:
    """Return the steps of a plan; a table whose method is unknown gives a mistake and no step."""
    steps: list[MethodStep] = []
    for table in tables:
        method = table.choice("method", METHODS)
        frequency = _frequency(table)
        if not method:
            # Its other keys can't be judged without knowing the method.
            table.names()
            continue
        step = _READERS[method](table, frequency)
        table.close()
        if isinstance(step, InductanceStep) and any(isinstance(each, InductanceStep) for each in steps):
            step = replace(step, suffix=frequency_suffix(step.test_frequency_hz))
        steps.append(step)
    return tuple(steps)


def _frequency(table: Table) -> Frequency:
    text = table.text("frequency", default="every unit")
    try:
        return parse_frequency(text)
    except ValueError as error:
        hint = "; an inductance's test frequency is the key `test_frequency`" if "Hz" in text else ""
        table.mistake("frequency", f"{error}{hint}")
        return Frequency()


def _contact(table: Table, frequency: Frequency) -> MethodStep:
    return ContactStep(
        "contact",
        frequency,
        limit_ohm=table.quantity("limit", Dimension.RESISTANCE, default=1.0, lower=1e-3, upper=1e3),
        open_is_fail=table.flag("open_is_fail", default=False),
    )


def _resistance(table: Table, frequency: Frequency) -> MethodStep:
    standard = ResistanceStep("resistance", frequency)
    second = Dimension.TIME
    return ResistanceStep(
        "resistance",
        frequency,
        level_v=table.quantity("level", Dimension.VOLTAGE, default=standard.level_v, lower=1e-3, upper=2.0),
        averaging=table.integer("averaging", default=standard.averaging, lower=1, upper=128),
        range_ohm=table.optional_quantity("range", Dimension.RESISTANCE, lower=1e-3, upper=1e9),
        still_fraction=table.quantity(
            "still", Dimension.FRACTION, default=standard.still_fraction, lower=1e-6, upper=0.01
        ),
        still_interval_s=table.quantity(
            "still_interval", second, default=standard.still_interval_s, lower=0.1, upper=60.0
        ),
        still_timeout_s=table.quantity(
            "still_timeout", second, default=standard.still_timeout_s, lower=1.0, upper=3600.0
        ),
        still_time_constant_s=table.quantity(
            "still_time_constant", second, default=standard.still_time_constant_s, lower=0.1, upper=3600.0
        ),
    )


def _inductance(table: Table, frequency: Frequency) -> MethodStep:
    standard = InductanceStep("inductance", frequency)
    return InductanceStep(
        "inductance",
        frequency,
        test_frequency_hz=table.quantity(
            "test_frequency",
            Dimension.FREQUENCY,
            default=standard.test_frequency_hz,
            lower=20.0,
            upper=30e6,
        ),
        level_v=table.quantity("level", Dimension.VOLTAGE, default=standard.level_v, lower=1e-3, upper=2.0),
        averaging=table.integer("averaging", default=standard.averaging, lower=1, upper=128),
        range_ohm=table.optional_quantity("range", Dimension.RESISTANCE, lower=1e-3, upper=1e9),
    )


def _field(table: Table, frequency: Frequency) -> MethodStep:
    standard = FieldStep("field", frequency)
    metre = Dimension.LENGTH
    return FieldStep(
        "field",
        frequency,
        drive_a=table.quantity("drive", Dimension.CURRENT, default=standard.drive_a, lower=1e-4, upper=5.0),
        heights_m=table.quantities("heights", metre, lower=1e-4, upper=0.1),
        mains_cycles=table.integer("mains_cycles", default=standard.mains_cycles, lower=1, upper=100),
        settle_s=table.quantity("settle", Dimension.TIME, default=standard.settle_s, lower=0.0, upper=60.0),
        height_offset_limit_m=table.quantity(
            "height_offset_limit", metre, default=standard.height_offset_limit_m, lower=1e-6, upper=0.01
        ),
        lateral_limit_m=table.quantity(
            "lateral_limit", metre, default=standard.lateral_limit_m, lower=1e-6, upper=0.01
        ),
        voltage_limit_v=table.quantity(
            "voltage_limit", Dimension.VOLTAGE, default=standard.voltage_limit_v, lower=0.01, upper=60.0
        ),
    )


def _heating(table: Table, frequency: Frequency) -> MethodStep:
    drives, quantity = _drives(table)
    return HeatingStep(
        "heating",
        frequency,
        drives=drives,
        drive_quantity=quantity,
        mounting=table.text("mounting", default=""),
    )


def _drives(table: Table) -> tuple[tuple[float, ...], str]:
    """The first drive's unit, volt or ampere, holds for the whole ladder."""
    current = _is_current(table.first_text("drive"))
    if current:
        return table.quantities("drive", Dimension.CURRENT, lower=1e-4, upper=5.0), "current_a"
    return table.quantities("drive", Dimension.VOLTAGE, lower=1e-3, upper=60.0), "voltage_v"


def _is_current(text: str) -> bool:
    try:
        return not math.isnan(parse_quantity(text, Dimension.CURRENT))
    except QuantityError:
        return False


_READERS: dict[str, Callable[[Table, Frequency], MethodStep]] = {
    "contact": _contact,
    "resistance": _resistance,
    "inductance": _inductance,
    "field": _field,
    "heating": _heating,
}
