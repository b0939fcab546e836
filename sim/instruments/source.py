"""Simulated DC source of model SRC-1: one output, constant voltage until the current level limits.

The output stays as it is when the client goes away: like many a real source, it has no dead-man. Not
imitated: slew, overshoot, output capacitance, sense-lead faults, what `sim.instruments.scpi` says.
"""

from collections.abc import Mapping

from sim.instruments.line import Work
from sim.instruments.scpi import OVERLOAD, CommandError, Handler, ScpiInstrument, nr3, number
from sim.world import World

MEASURE_S = 0.020
HIGHEST_V = 20.0
HIGHEST_A = 2.0


class Source(ScpiInstrument):
    """Model SRC-1."""

    def __init__(self, name: str, world: World, identity: str) -> None:
        super().__init__(name, world, identity)
        self._shown_on = False

    def handlers(self) -> Mapping[str, Handler]:
        """Return the program messages of this model."""
        drive = self.world.drive
        return {
            "VOLT": self._set("voltage_v", HIGHEST_V),
            "VOLT?": lambda argument: nr3(drive.voltage_v),
            "CURR": self._set("current_a", HIGHEST_A),
            "CURR?": lambda argument: nr3(drive.current_a),
            "VOLT:PROT": self._set("over_voltage_v", 22.0),
            "VOLT:PROT?": lambda argument: nr3(drive.over_voltage_v),
            "CURR:PROT": self._set("over_current_a", 2.2),
            "CURR:PROT?": lambda argument: nr3(drive.over_current_a),
            "OUTP": self._output,
            "OUTP?": self._output_state,
            "MEAS:VOLT?": lambda argument: Work(MEASURE_S, self._voltage),
            "MEAS:CURR?": lambda argument: Work(MEASURE_S, self._current),
        }

    def reset(self) -> None:
        """Go to the state that `*RST` defines: output off, levels 0, protection at its highest."""
        drive = self.world.drive
        self._switch(False)
        drive.voltage_v = drive.current_a = 0.0
        drive.over_voltage_v, drive.over_current_a = 22.0, 2.2

    def execute(self, line: bytes, now_s: float) -> Work | None:
        """Carry out one program message; a trip since the last one is reported first."""
        self._notice_trip()
        work = super().execute(line, now_s)
        self.world.check_protection()
        self._notice_trip()
        return work

    def _set(self, level: str, highest: float) -> Handler:
        def handler(argument: str) -> None:
            setattr(self.world.drive, level, number(argument, 0.0, highest))

        return handler

    def _output(self, argument: str) -> None:
        if argument not in ("0", "1"):
            raise CommandError(-104, "Data type error")
        self._switch(argument == "1")

    def _switch(self, on: bool) -> None:
        self._shown_on = on
        if not self.impairments.stuck:
            self.world.switch(on=on)

    def _output_state(self, argument: str) -> str:
        return "1" if self._shown_on else "0"

    def _notice_trip(self) -> None:
        if self.world.drive.tripped:
            self.world.drive.tripped = False
            self._shown_on = False
            self.report_error(-240, "Hardware error")

    def _voltage(self, now_s: float) -> bytes:
        errors = self.world.errors
        shown = (
            self.world.drive_point()[0] * (1.0 + errors.source_voltage_gain) + errors.source_voltage_offset_v
        )
        return self._response("voltage", shown, self.world.noise.source_voltage_v)

    def _current(self, now_s: float) -> bytes:
        errors = self.world.errors
        shown = (
            self.world.drive_point()[1] * (1.0 + errors.source_current_gain) + errors.source_current_offset_a
        )
        return self._response("current", shown, self.world.noise.source_current_a)

    def _response(self, channel: str, shown: float, noise: float) -> bytes:
        if noise:
            shown += noise * self.world.noise_of(f"{self.name} {channel}")
        (shown,) = self.reading(channel, shown)
        if self.overloaded():
            shown = OVERLOAD
        return nr3(shown).encode("ascii") + b"\n"
