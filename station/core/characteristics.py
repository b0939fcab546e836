"""Which characteristics a method yields, and how they are called: one place for names and units.

`R20`; `L`, `Rs`, `Q` (with `@300kHz` for a second inductance step); `B@2mm` (flux density per ampere at a
height); `rise@3V` (the winding's rise over ambient at a drive).
"""

from station.core.plan import FieldStep, HeatingStep, InductanceStep, MethodStep, ResistanceStep

METHODS = ("contact", "resistance", "inductance", "field", "heating")
"""In the order in which a plan must have them: what warms the coil or moves the sensor close comes later."""


def field_name(height_m: float) -> str:
    """Return the name of the field at a height: `B@2mm`. Always in mm, whole micrometres."""
    return f"B@{_number(height_m * 1e3)}mm"


def rise_name(drive: float, drive_quantity: str) -> str:
    """Return the name of the rise at a drive: `rise@3V`, `rise@0.2A`. `drive_quantity` as in HeatingStep."""
    return f"rise@{_number(drive)}{'V' if drive_quantity == 'voltage_v' else 'A'}"


def frequency_suffix(test_frequency_hz: float) -> str:
    """Return what tells a second inductance step from the first: `@300kHz`."""
    return f"@{_number(test_frequency_hz / 1e3)}kHz"


def _number(value: float) -> str:
    return f"{round(value, 6):.10g}"


def yields(step: MethodStep) -> tuple[tuple[str, str], ...]:
    """Return (name, unit symbol) of each characteristic that a step can give, in order."""
    if isinstance(step, ResistanceStep):
        return (("R20", "ohm"),)
    if isinstance(step, InductanceStep):
        return ((f"L{step.suffix}", "H"), (f"Rs{step.suffix}", "ohm"), (f"Q{step.suffix}", "1"))
    if isinstance(step, FieldStep):
        return tuple((field_name(height), "T/A") for height in step.heights_m)
    if isinstance(step, HeatingStep):
        return tuple((rise_name(drive, step.drive_quantity), "K") for drive in step.drives)
    return ()
