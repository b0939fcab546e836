"""Which characteristics a method yields, and how they are called: one place for names and units.

`R20`; `L`, `Rs`, `Q` (with `@300kHz` for a second inductance step); `B@2mm` (flux density per ampere at a
height); `rise@3V` (the winding's rise over ambient at a drive), `surface@3V` (the thermometer's), `Rth@air`
(thermal resistance, with its mounting), `tau` (thermal time constant), `drive@80degC` (the drive at which the
winding reaches a temperature, at the plan's ambient).
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


def surface_rise_name(drive: float, drive_quantity: str) -> str:
    """Return the name of the surface's rise at a drive: `surface@3V`."""
    return f"surface@{rise_name(drive, drive_quantity).partition('@')[2]}"


def thermal_resistance_name(mounting: str) -> str:
    """Return the name of the thermal resistance on a mounting: `Rth@air`."""
    return f"Rth@{mounting}"


TIME_CONSTANT_NAME = "tau"


def largest_drive_name(step: HeatingStep) -> str:
    """Return the name of the drive that takes the winding to the plan's temperature limit: `drive@80degC`."""
    return f"drive@{_number(step.temperature_limit_degc)}degC"


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
        return _heating_yields(step)
    return ()


def _heating_yields(step: HeatingStep) -> tuple[tuple[str, str], ...]:
    of = step.drive_quantity
    rises = tuple((rise_name(drive, of), "K") for drive in step.drives)
    surfaces = tuple((surface_rise_name(drive, of), "K") for drive in step.drives)
    resistance = ((thermal_resistance_name(step.mounting), "K/W"),) if step.mounting else ()
    unit = "V" if of == "voltage_v" else "A"
    return (*rises, *surfaces, *resistance, (TIME_CONSTANT_NAME, "s"), (largest_drive_name(step), unit))
