"""Simulated thermometer of model TH-P: answers `T?` and `ID?`.

Not imitated: the sensor's own lag, thermocouple voltages, cold junction, line speed.
"""

from sim.instruments.line import LineInstrument, Work
from sim.world import World

RESPONSE_S = 0.060
OPEN = "OPEN"


def shown_temperatures(instrument: LineInstrument) -> tuple[float, float] | None:
    """Return (coil, ambient) in degC as shown; None if a scripted fault opens the coil's sensor."""
    if instrument.overloaded():
        return None
    world = instrument.world
    coil_degc = world.surface_degc + world.errors.coil_thermometer_offset_k
    ambient_degc = world.ambient_degc + world.errors.ambient_thermometer_offset_k
    if world.noise.temperature_k:
        coil_degc += world.noise.temperature_k * world.noise_of(f"{instrument.name} coil")
        ambient_degc += world.noise.temperature_k * world.noise_of(f"{instrument.name} ambient")
    coil_degc, ambient_degc = instrument.reading("temperature", coil_degc, ambient_degc)
    return coil_degc, ambient_degc


class ThermometerPolled(LineInstrument):
    """Model TH-P."""

    terminator = b"\r"

    def __init__(self, name: str, world: World, identity: str) -> None:
        super().__init__(name, world, identity)

    def execute(self, line: bytes, now_s: float) -> Work | None:
        """Answer `T?` or `ID?` after 60 ms; anything else is not answered."""
        command = line.strip()
        if command == b"T?":
            return Work(RESPONSE_S, self._temperatures)
        if command == b"ID?":
            return Work(RESPONSE_S, lambda now_s: self.shown_identity().encode("ascii") + b"\r\n")
        return None

    def _temperatures(self, now_s: float) -> bytes:
        shown = shown_temperatures(self)
        ambient = f"{self.world.ambient_degc:+08.3f}"
        if shown is None:
            return f"{OPEN},{ambient}\r\n".encode("ascii")
        return f"{shown[0]:+08.3f},{shown[1]:+08.3f}\r\n".encode("ascii")
