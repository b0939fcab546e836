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
    usual = HeatingStep("heating", frequency)
    degree, second, kelvin = Dimension.TEMPERATURE, Dimension.TIME, Dimension.TEMPERATURE_DIFFERENCE
    target_k, target_fraction = _target(table)
    step = HeatingStep(
        "heating",
        frequency,
        drives=drives,
        drive_quantity=quantity,
        mounting=table.text("mounting", default="", limit=40),
        temperature_limit_degc=table.quantity(
            "temperature_limit", degree, default=usual.temperature_limit_degc, lower=30.0, upper=180.0
        ),
        ambient_degc=table.quantity("ambient", degree, default=usual.ambient_degc, lower=-40.0, upper=100.0),
        target_k=target_k,
        target_fraction=target_fraction,
        audit_one_in=table.integer("audit_one_in", default=usual.audit_one_in, lower=1, upper=1000),
        soak_s=table.quantity("soak", second, default=usual.soak_s, lower=30.0, upper=7200.0),
        longest_time_constant_s=table.quantity(
            "longest_time_constant", second, default=usual.longest_time_constant_s, lower=2.0, upper=600.0
        ),
        voltage_limit_v=table.quantity(
            "voltage_limit", Dimension.VOLTAGE, default=usual.voltage_limit_v, lower=0.01, upper=60.0
        ),
        current_limit_a=table.quantity(
            "current_limit", Dimension.CURRENT, default=usual.current_limit_a, lower=1e-3, upper=10.0
        ),
        power_limit_w=table.quantity(
            "power_limit", Dimension.POWER, default=usual.power_limit_w, lower=1e-3, upper=100.0
        ),
        touch_limit_degc=table.quantity(
            "touch_limit", degree, default=usual.touch_limit_degc, lower=35.0, upper=65.0
        ),
        cooling_s=table.quantity("cooling", second, default=usual.cooling_s, lower=1.0, upper=7200.0),
        start_within_k=table.quantity(
            "start_within", kelvin, default=usual.start_within_k, lower=0.1, upper=10.0
        ),
    )
    _check_heating(table, step)
    return step


def _target(table: Table) -> tuple[float, float]:
    """Return (K, 0) or (0, fraction): the unit of the text says which."""
    text = table.text("target", default="0.5 K")
    try:
        target_k = parse_quantity(text, Dimension.TEMPERATURE_DIFFERENCE)
        if 0.01 <= target_k <= 20.0:
            return target_k, 0.0
        table.mistake("target", f"must be from 0.01 K to 20 K; got {text!r}")
    except QuantityError:
        fraction = table.optional_quantity("target", Dimension.FRACTION, lower=0.001, upper=0.2)
        if fraction is not None and not math.isnan(fraction):
            return 0.0, fraction
    return 0.5, 0.0


def _check_heating(table: Table, step: HeatingStep) -> None:
    by_voltage = step.drive_quantity == "voltage_v"
    highest = max(step.drives, default=0.0)
    limit, key = (
        (step.voltage_limit_v, "voltage_limit") if by_voltage else (step.current_limit_a, "current_limit")
    )
    if highest > limit:
        table.mistake("drive", f"climbs to {highest:g} {'V' if by_voltage else 'A'}, above `{key}` {limit:g}")
    if step.temperature_limit_degc <= step.ambient_degc:
        table.mistake("temperature_limit", "must be above `ambient`")
    if step.soak_s < 3.0 * step.longest_time_constant_s:
        table.mistake("soak", "must be at least three times `longest_time_constant`: a full soak settles")


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
