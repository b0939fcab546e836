"""Small instruments for the drivers' tests, written from the wire's description.

The truth is a number: each one has its own values (`rising`), so that a stale reading shows.
"""

import binascii
from dataclasses import dataclass

QUERY_S = 0.001


@dataclass(frozen=True)
class Sent:
    """Bytes and the time when they leave."""

    time_s: float
    data: bytes
    hang_up: bool = False


def rising(base: float, truth: int) -> float:
    """Return the value that belongs to unit number `truth`."""
    return base * (1 + 0.013 * truth)


class LinePeer:
    """Takes program messages one after the other; each may take time and give one response."""

    terminator_in = b"\n"
    terminator_out = b"\n"

    def __init__(self) -> None:
        self.truth = 0
        self.identity = "Meadow Instruments,MODEL-1,0042,1.0"
        self.received: list[str] = []
        self._input = bytearray()
        self._sent: list[Sent] = []
        self._free_s = 0.0

    def receive(self, data: bytes, now_s: float) -> None:
        """Take bytes; carry out each message that is complete."""
        self._input += data
        self._free_s = max(self._free_s, now_s)
        while (end := self._input.find(self.terminator_in)) >= 0:
            message = self._input[:end].decode("ascii", "replace")
            del self._input[: end + len(self.terminator_in)]
            if not message:
                continue
            self.received.append(message)
            takes_s, response = self.answer(message)
            self._free_s += takes_s
            if response is not None:
                self._sent.append(Sent(self._free_s, response.encode("ascii") + self.terminator_out))

    def advance(self, now_s: float) -> list[Sent]:
        """Return what left by now."""
        due = [sent for sent in self._sent if sent.time_s <= now_s]
        self._sent = self._sent[len(due) :]
        return due

    def next_due(self) -> float | None:
        """Return when the next response leaves."""
        return self._sent[0].time_s if self._sent else None

    def answer(self, message: str) -> tuple[float, str | None]:
        """Carry a message out: how long it takes in s, and the response if there is one."""
        raise NotImplementedError


class ScpiPeer(LinePeer):
    """Identity, error queue, settings by header."""

    headers: tuple[str, ...] = ()

    def __init__(self) -> None:
        super().__init__()
        self.errors: list[str] = []
        self.settings: dict[str, str] = {}
        self.deaf_to: set[str] = set()

    def answer(self, message: str) -> tuple[float, str | None]:
        """Answer the common messages; leave the others to `own`."""
        header, _, argument = message.partition(" ")
        if message == "*IDN?":
            return QUERY_S, self.identity
        if message == "*OPC?":
            return QUERY_S, "1"
        if message == "SYST:ERR?":
            return QUERY_S, self.errors.pop(0) if self.errors else '0,"No error"'
        if message in self.deaf_to:
            return 0.0, None
        if header in self.headers:
            self.settings[header] = argument
            self.changed(header)
            return 0.0, None
        if header[:-1] in self.headers and header.endswith("?"):
            return QUERY_S, f"{float(self.settings.get(header[:-1], '0')):+.5E}"
        return self.own(message)

    def own(self, message: str) -> tuple[float, str | None]:
        """Answer what only this instrument has."""
        self.errors.append('-113,"Undefined header"')
        return 0.0, None

    def changed(self, header: str) -> None:
        """Notice that a setting was sent."""


class LcrPeer(ScpiPeer):
    """Common to both meters: functions, range with a bad first reading, overload."""

    function_header = ""
    averaging_header = ""
    range_header = ""

    def __init__(self) -> None:
        super().__init__()
        self.overload = False
        self._range_changed = True
        self._range = ""

    def changed(self, header: str) -> None:
        """A change of range spoils the next reading by 1 %."""
        if header == self.range_header and self.settings[header] != self._range:
            self._range = self.settings[header]
            self._range_changed = True

    def values(self) -> dict[str, float]:
        """Return the unit's values; the reading uses the range change up."""
        spoilt = 1.01 if self._range_changed else 1.0
        self._range_changed = False
        bases = {"L": 28e-6, "R": 7.8, "Q": 2.2, "Z": 19.0, "T": 1.1, "RDC": 7.7}
        return {name: spoilt * rising(base, self.truth) for name, base in bases.items()}

    def measuring_s(self) -> float:
        """Return how long one measurement takes."""
        return 0.02 * int(self.settings.get(self.averaging_header, "1"))


class LcrStatusLastPeer(LcrPeer):
    """TRIG, then FETC?; number, number, status."""

    headers = ("FUNC", "FREQ", "VOLT", "APER", "RANG", "RANG:AUTO")
    averaging_header = "APER"
    range_header = "RANG"

    def __init__(self) -> None:
        super().__init__()
        self.last: str | None = None

    def changed(self, header: str) -> None:
        """Any change makes the last measurement void."""
        super().changed(header)
        self.last = None

    def own(self, message: str) -> tuple[float, str | None]:
        """TRIG, FETC?, corrections."""
        if message == "TRIG":
            self.last = self._measure()
            return self.measuring_s(), None
        if message == "FETC?":
            return QUERY_S, self.last or "+9.91000E+37,+9.91000E+37,+4"
        if message in ("CORR:OPEN", "CORR:SHOR"):
            return 2.0, None
        return super().own(message)

    def _measure(self) -> str:
        if self.overload:
            return "+9.90000E+37,+9.90000E+37,+1"
        values = self.values()
        first, second = {"LSRS": ("L", "R"), "LPRP": ("L", "R"), "LSQ": ("L", "Q"), "ZTR": ("Z", "T")}.get(
            self.settings.get("FUNC", "LSRS"), ("RDC", "")
        )
        return f"{values[first]:+.5E},{values.get(second, 0.0):+.5E},+0"


class LcrStatusFirstPeer(LcrPeer):
    """READ?; flag; number; number, resistance first."""

    headers = ("CONF:PAR", "SOUR:FREQ", "SOUR:LEV", "SENS:AVER", "SENS:RANG", "SENS:RANG:AUTO")
    averaging_header = "SENS:AVER"
    range_header = "SENS:RANG"

    def own(self, message: str) -> tuple[float, str | None]:
        """READ?, corrections."""
        if message in ("CAL:OPEN", "CAL:SHORT"):
            return 2.0, None
        if message != "READ?":
            return super().own(message)
        names = {"RSLS": "RL", "RPLP": "RL", "QLS": "QL", "THZ": "TZ"}.get(
            self.settings.get("CONF:PAR", "RSLS"), ("RDC",)
        )
        if self.overload:
            return self.measuring_s(), ";".join(["O", *("9.9E37" for _ in names)])
        values = self.values()
        return self.measuring_s(), ";".join(["N", *(_short_exponent(values[name]) for name in names)])


def _short_exponent(value: float) -> str:
    mantissa, _, exponent = f"{value:.6E}".partition("E")
    return f"{mantissa}E{int(exponent):+d}"


class SourcePeer(ScpiPeer):
    """Levels, protection, output; drives 8 ohm."""

    headers = ("VOLT", "CURR", "VOLT:PROT", "CURR:PROT")

    def __init__(self) -> None:
        super().__init__()
        self.output = False
        self.stuck_current_a = 0.0
        self.off_orders_to_lose = 0

    def own(self, message: str) -> tuple[float, str | None]:
        """Output and measured values."""
        if message == "OUTP 0" and self.off_orders_to_lose:
            self.off_orders_to_lose -= 1
            return 0.0, None
        if message in ("OUTP 1", "OUTP 0"):
            self.output = message == "OUTP 1"
            return 0.0, None
        if message == "OUTP?":
            return QUERY_S, "1" if self.output else "0"
        if message == "MEAS:VOLT?":
            return 0.02, f"{rising(2.0, self.truth) if self.output else 0.0:+.5E}"
        if message == "MEAS:CURR?":
            return 0.02, f"{rising(0.25, self.truth) if self.output else self.stuck_current_a:+.5E}"
        return super().own(message)


class FixturePeer(LinePeer):
    """Numbered, check-summed lines; route, height, field, contacts, dead-man left to the test."""

    def __init__(self) -> None:
        super().__init__()
        self.identity = "Meadow,FIX-9,0042,1.0"
        self.flags = {"L": True, "G": True, "S": False, "E": False, "R": False}
        self.route = "OPEN"
        self.height_um: int | None = 20000
        self.field_valid = True
        self.contacts = ("1500", "1700")
        self.fields_before_drop: int | None = None

    def answer(self, message: str) -> tuple[float, str | None]:
        """Check the sum, carry out, answer under the same number."""
        body, _, told = message.rpartition("*")
        if told != f"{binascii.crc_hqx(body.encode(), 0xFFFF):04X}":
            return 0.0, None
        number, command, *arguments = body[1:].split()
        takes_s, fields = self._carry_out(command, arguments)
        word = "ERR" if fields and fields[0].startswith("!") else "OK"
        flags = "".join(letter if up else "-" for letter, up in self.flags.items())
        line = " ".join([f"<{number}", word, flags, *(field.lstrip("!") for field in fields)])
        return takes_s, f"{line}*{binascii.crc_hqx(line.encode(), 0xFFFF):04X}"

    def drop_drive(self) -> None:
        """Do what the dead-man does."""
        self.flags |= {"E": False, "R": True}
        if self.route in ("FWD", "REV"):
            self.route = "OPEN"

    def _carry_out(self, command: str, arguments: list[str]) -> tuple[float, list[str]]:
        height = "-" if self.height_um is None else str(self.height_um)
        match command:
            case "ID":
                return QUERY_S, self.identity.split(",")
            case "STATE":
                return QUERY_S, [self.route, height, "17"]
            case "ALIVE":
                self.flags |= {"E": True, "R": False}
                return QUERY_S, []
            case "ROUTE":
                return self._make_route(arguments[0])
            case "HEIGHT" | "RETRACT":
                return self._move(int(arguments[0]) if arguments else 20000)
            case "FIELD":
                return self._field(int(arguments[0]))
            case "CONTACT":
                return QUERY_S, [*self.contacts] if self.route == "KELVIN" else ["!3", "not_allowed_now"]
        return QUERY_S, ["!1", "unknown_command"]

    def _make_route(self, route: str) -> tuple[float, list[str]]:
        if route in ("FWD", "REV") and not self.flags["E"]:
            return QUERY_S, ["!3", "not_allowed_now"]
        self.route = route
        return 0.015, [route]

    def _move(self, height_um: int) -> tuple[float, list[str]]:
        if self.height_um is None:
            return QUERY_S, ["!1", "unknown_command"]
        if not 500 <= height_um <= 20000:
            return QUERY_S, ["!2", "bad_argument"]
        travel_s = abs(height_um - self.height_um) / 10_000
        self.height_um = height_um
        return travel_s, [str(height_um)]

    def _field(self, cycles: int) -> tuple[float, list[str]]:
        if self.fields_before_drop is not None:
            self.fields_before_drop -= 1
            if self.fields_before_drop < 0:
                self.drop_drive()
        count = round(rising(3e6, self.truth)) if self.field_valid else 0
        return 0.02 * cycles, [str(count), "V" if self.field_valid else "O"]


class PolledThermometerPeer(LinePeer):
    """T? and ID?, ended by CR."""

    terminator_in = b"\r"
    terminator_out = b"\r\n"

    def __init__(self) -> None:
        super().__init__()
        self.coil_open = False

    def answer(self, message: str) -> tuple[float, str | None]:
        """Answer within 60 ms."""
        coil = "OPEN" if self.coil_open else f"{rising(23.5, self.truth):+08.3f}"
        lines = {"T?": f"{coil},{rising(23.4, self.truth):+08.3f}", "ID?": self.identity}
        return 0.06, lines.get(message)


class StreamingThermometerPeer:
    """A line each 200 ms, unasked; the identity in each 25th."""

    period_s = 0.2
    identity_every = 25

    def __init__(self) -> None:
        self.truth = 0
        self.identity = "Meadow Instruments,MODEL-1,0042,1.0"
        self.count = 999_990
        self.frozen = False
        self.coil_open = False
        self._lines = 0

    def receive(self, data: bytes, now_s: float) -> None:
        """Take bytes and heed none."""

    def next_due(self) -> float:
        """Return when the next line leaves."""
        return (self._lines + 1) * self.period_s

    def advance(self, now_s: float) -> list[Sent]:
        """Return the lines that left by now."""
        sent = []
        while self.next_due() <= now_s:
            time_s = self.next_due()
            self._lines += 1
            sent.append(Sent(time_s, self._line().encode("ascii") + b"\r\n"))
        return sent

    def _line(self) -> str:
        self.count = self.count if self.frozen else (self.count + 1) % 1_000_000
        if self._lines % self.identity_every == 0:
            body = f"ID={self.identity}"
        else:
            coil = "-----" if self.coil_open else f"{rising(23.5, self.truth):+.2f}"
            body = f"N={self.count:06d} C={coil} A={rising(23.4, self.truth):+.2f}"
        return f"{body} K={sum(body.encode()) % 256:02X}"
