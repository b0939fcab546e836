"""Simulated thermometer of model TH-S: sends a line each 200 ms, unasked, and takes no commands.

It counts its lines from power-on, whether somebody listens or not. Not imitated: the sensor's own lag,
thermocouple voltages, cold junction, line speed.
"""

from sim.instruments.line import LineInstrument, Work
from sim.instruments.thermometer_polled import shown_temperatures
from sim.world import World

PERIOD_S = 0.200
IDENTITY_EVERY = 25
COUNT_WRAP = 1_000_000


class ThermometerStreaming(LineInstrument):
    """Model TH-S."""

    unasked = True

    def __init__(self, name: str, world: World, identity: str) -> None:
        super().__init__(name, world, identity)
        self._lines = 0
        self._plan_next()

    def connect(self, now_s: float) -> None:
        """A client has opened the line; the next line comes when it would have come anyway."""
        super().connect(now_s)
        self._replan(now_s)

    def disconnect(self, now_s: float) -> None:
        """The client has gone; the count goes on."""
        super().disconnect(now_s)
        self._replan(now_s)

    def execute(self, line: bytes, now_s: float) -> Work | None:
        """Ignore what is sent."""
        return None

    def _plan_next(self) -> None:
        self.schedule((self._lines + 1) * PERIOD_S, self._line)

    def _replan(self, now_s: float) -> None:
        # A scheduled line belongs to the session that it was planned in: plan it again for this one.
        self._agenda.clear()
        self._lines = max(self._lines, int(now_s / PERIOD_S))
        self._plan_next()

    def _line(self, now_s: float) -> bytes:
        self._lines += 1
        self._plan_next()
        if self._lines % IDENTITY_EVERY == 0:
            return summed(f"ID={self.shown_identity()}")
        shown = shown_temperatures(self)
        coil = "-----" if shown is None else f"{shown[0]:+06.2f}"
        ambient = f"{shown[1] if shown else self.world.ambient_degc:+06.2f}"
        return summed(f"N={self._lines % COUNT_WRAP:06d} C={coil} A={ambient}")


def summed(text: str) -> bytes:
    """Return a line with its sum: of all bytes before ` K=`, modulo 256, in hex."""
    body = text.encode("ascii")
    return b"%s K=%02X\r\n" % (body, sum(body) % 256)
