"""Simulated LCR meter of model LCR-A: `TRIG`, then `FETC?` with the status as last field.

Not imitated: what `sim.instruments.lcr_meter` and `sim.instruments.scpi` say; a `FETC?` never waits for a
trigger that has not come, it answers status +4.
"""

from collections.abc import Mapping

from sim.instruments.lcr_meter import LcrMeter, Measured
from sim.instruments.line import Work
from sim.instruments.scpi import NOT_A_NUMBER, OVERLOAD, CommandError, Handler, nr3

FUNCTIONS = ("LSRS", "LPRP", "LSQ", "ZTR", "RDC")
STATUS = {"good": 0, "overload": 1, "no_number": 2, "stale": 4}


class LcrStatusLast(LcrMeter):
    """Model LCR-A."""

    def handlers(self) -> Mapping[str, Handler]:
        """Return the program messages of this model."""
        return {
            "FUNC": self._function,
            "FREQ": self.set_frequency,
            "FREQ?": lambda argument: nr3(self.frequency_hz),
            "VOLT": self.set_level,
            "VOLT?": lambda argument: nr3(self.level_v),
            "APER": self.set_averaging,
            "RANG": self.set_range,
            "RANG:AUTO": self.set_auto_range,
            "CORR:OPEN": lambda argument: self.correcting("open"),
            "CORR:SHOR": lambda argument: self.correcting("short"),
            "TRIG": self._trigger,
            "FETC?": lambda argument: response(self.last),
        }

    def _function(self, argument: str) -> None:
        if argument.upper() not in FUNCTIONS:
            raise CommandError(-104, "Data type error")
        self.set_function(argument.upper())

    def _trigger(self, argument: str) -> Work:
        def finish(now_s: float) -> bytes:
            self.take()
            return b""

        return Work(self.measuring_s, finish)


def response(measured: Measured) -> str:
    """Return the response to `FETC?`."""
    if measured.status == "good":
        return f"{nr3(measured.primary)},{nr3(measured.secondary)},+0"
    value = nr3(OVERLOAD if measured.status == "overload" else NOT_A_NUMBER)
    return f"{value},{value},{STATUS[measured.status]:+d}"
