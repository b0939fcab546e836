"""Simulated LCR meter of model LCR-B: `READ?` triggers and answers, flag first, fields by semicolon.

Not imitated: what `sim.instruments.lcr_meter` and `sim.instruments.scpi` say.
"""

from collections.abc import Mapping

from sim.instruments.lcr_meter import LcrMeter, Measured
from sim.instruments.line import Work
from sim.instruments.scpi import QUERY_S, CommandError, Handler

FUNCTIONS = {"RSLS": "LSRS", "RPLP": "LPRP", "QLS": "LSQ", "THZ": "ZTR", "RDC": "RDC"}


class LcrStatusFirst(LcrMeter):
    """Model LCR-B."""

    def handlers(self) -> Mapping[str, Handler]:
        """Return the program messages of this model."""
        return {
            "CONF:PAR": self._parameters,
            "SOUR:FREQ": self.set_frequency,
            "SOUR:FREQ?": lambda argument: plain_nr3(self.frequency_hz),
            "SOUR:LEV": self.set_level,
            "SOUR:LEV?": lambda argument: plain_nr3(self.level_v),
            "SENS:AVER": self.set_averaging,
            "SENS:RANG": self.set_range,
            "SENS:RANG:AUTO": self.set_auto_range,
            "CAL:OPEN": lambda argument: self.correcting("open"),
            "CAL:SHORT": lambda argument: self.correcting("short"),
            "READ?": self._read,
        }

    def _parameters(self, argument: str) -> None:
        if argument.upper() not in FUNCTIONS:
            raise CommandError(-104, "Data type error")
        self.set_function(FUNCTIONS[argument.upper()])

    def _read(self, argument: str) -> Work:
        def finish(now_s: float) -> bytes:
            return response(self.take(), dc=self.function == "RDC").encode("ascii") + b"\n"

        return Work(self.measuring_s + QUERY_S, finish)


def response(measured: Measured, *, dc: bool) -> str:
    """Return the response to `READ?`: resistance, Q or theta before L or Z."""
    if measured.status == "overload":
        return "O;9.9E37" if dc else "O;9.9E37;9.9E37"
    if measured.status != "good":
        return "E;9.91E37" if dc else "E;9.91E37;9.91E37"
    if dc:
        return f"N;{plain_nr3(measured.primary)}"
    return f"N;{plain_nr3(measured.secondary)};{plain_nr3(measured.primary)}"


def plain_nr3(value: float) -> str:
    """Write a number like `7.812340E+0`: seven digits, no plus sign before it, a short exponent."""
    mantissa, exponent = f"{value:.6E}".split("E")
    return f"{mantissa}E{int(exponent):+d}"
