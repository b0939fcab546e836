"""Serial thermometers, polled or streaming: temperature near the coil and of the ambient.

A missing sensor is a status, never a cold reading. A polled thermometer has no error queue: its identity is
the closing query that proves the responses to be in step (`drivers.session`, Framing). A streaming one is
read fresh: what had queued up before the call is thrown away, with the line that was under way; checksum
and a moving count are required.
"""

import re

from drivers.clock import Clock
from drivers.dialects import ThermometerDialect
from drivers.errors import InstrumentError, ReplyError
from drivers.group import Group
from drivers.link import Link
from drivers.numbers import parse_value, shown
from drivers.readings import Identity, Quantity, Reading, ReadingStatus
from drivers.session import Exchange, check_identity, parse_identity
from drivers.thermocouple import temperature_degc

STREAM = b"(streamed line)"

_LONGEST_BACKLOG = 25  # lines
_PERIOD_TOLERANCE = (
    0.06  # the instrument's own clock is no standard, and some do not count the identity lines
)


class SerialThermometer:
    """A `Thermometer` on a serial line."""

    def __init__(
        self,
        link: Link,
        clock: Clock,
        dialect: ThermometerDialect,
        *,
        name: str = "",
        expected_identity: str = "",
    ) -> None:
        self.name = name or link.name
        self._exchange = Exchange(link, dialect.wire)
        self._clock = clock
        self._dialect = dialect
        self._expected_identity = expected_identity
        self._last_count: int | None = None
        self._used = (0, 0.0)
        self._at_line_start = False

    def identify(self) -> Identity:
        """Ask or wait for the identity (a streaming one tells it each so many lines: some seconds).

        Raises:
            WrongInstrument: the bench file expects another.
        """
        reply = self._await_identity() if self._dialect.streaming else self._ask(self._dialect.identity)
        identity = self._parse_identity(reply)
        check_identity(self.name, identity, self._expected_identity)
        return identity

    def can(self, quantity: Quantity) -> bool:
        """Tell whether this thermometer measures `quantity`: coil and ambient temperature."""
        return quantity in (Quantity.TEMPERATURE_COIL, Quantity.TEMPERATURE_AMBIENT)

    def measure(self) -> tuple[Reading, Reading]:
        """Return (coil, ambient) temperature in degC, fresh since the call.

        Raises:
            ReplyError: another form than the dialect's, a wrong checksum, a count that stands still or goes
                back ("frozen"), or a temperature outside the dialect's range.
            LinkTimeout: nothing complete came.
        """
        group = self.group()
        group.take()
        return group.hand_out()[0]

    def group(self) -> Group[tuple[Reading, Reading]]:
        """Return an empty group of temperatures; raises as `measure`. A streaming one needs no closing query."""
        if self._dialect.streaming:
            return Group(self._measure_streaming, lambda: None)
        return Group(self._measure_polled, self._prove)

    def forget_input(self) -> None:
        """Throw away what has come, without waiting; raises `LinkClosed` if the other end is gone."""
        waiting = self._exchange.discard_waiting()
        if waiting:
            self._at_line_start = waiting.endswith(self._dialect.wire.terminator_in)

    def close(self) -> None:
        """Let the link go."""
        self._exchange.close()

    def _measure_polled(self) -> tuple[Reading, Reading]:
        reply = self._ask(self._dialect.measure)
        return self._readings(self._match(reply), reply)

    def _prove(self) -> None:
        if not self._exchange.in_step:
            raise InstrumentError(
                f"{self.name}: the link got out of step between readings that belong together. Measure again."
            )
        self._parse_identity(self._ask(self._dialect.identity))

    def _measure_streaming(self) -> tuple[Reading, Reading]:
        self._skip_what_is_old()
        if self._last_count is None:
            self._in_time(self._next_data_line())
        for _ in range(_LONGEST_BACKLOG):
            line = self._next_data_line()
            if self._in_time(line):
                return self._readings(self._match(line), line)
        late_s = self._dialect.late_s
        raise self._refuse(
            f"{_LONGEST_BACKLOG} lines came more than {late_s:g} s late; is the period right?", line
        )

    def _skip_what_is_old(self) -> None:
        """Throw away what had queued up, and the rest of a line that started before now."""
        self.forget_input()
        if not self._at_line_start:
            self._read_line()

    def _read_line(self) -> bytes:
        self._at_line_start = False
        line = self._exchange.read_on()
        self._at_line_start = True
        return line

    def _next_data_line(self) -> bytes:
        """Return the next line with a valid checksum that is no identity."""
        for _ in range(2):  # the instrument never sends two identities in a row
            line = self._read_line()
            self._check_sum(line)
            if self._dialect.identity_line.fullmatch(line) is None:
                return line
        raise self._refuse("identities only", line)

    def _in_time(self, line: bytes) -> bool:
        """Check that the count moves; tell whether the line keeps pace with the last one that was used.

        A line that stalled and then floods brings old temperatures after the call; their counts lag behind
        the clock.
        """
        now_s = self._clock.monotonic()
        count, modulus = int(self._match(line)["count"]), self._dialect.count_modulus
        last, self._last_count = self._last_count, count
        if last is None:
            self._used = (count, now_s)
            return True
        if not 0 < (count - last) % modulus < modulus // 2:
            raise self._refuse(f"count {count} came after {last}: frozen or late", line)
        used_count, used_s = self._used
        elapsed_s = now_s - used_s
        lag_s = elapsed_s - (count - used_count) % modulus * self._dialect.period_s
        if lag_s > self._dialect.late_s + _PERIOD_TOLERANCE * elapsed_s:
            return False
        self._used = (count, now_s)
        return True

    def _await_identity(self) -> bytes:
        self._skip_what_is_old()
        for _ in range(self._dialect.identity_every + 1):
            line = self._read_line()
            self._check_sum(line)
            match = self._dialect.identity_line.fullmatch(line)
            if match is not None:
                return line
        raise self._refuse(f"no identity within {self._dialect.identity_every + 1} lines", line)

    def _ask(self, message: str) -> bytes:
        return self._exchange.ask(message.encode("ascii"))

    def _parse_identity(self, line: bytes) -> Identity:
        match = self._dialect.identity_line.fullmatch(line)
        if match is None:
            raise self._refuse(f"an identity was expected; received {shown(line)}", line)
        try:
            return parse_identity(match["identity"])
        except ReplyError as error:
            raise self._refuse(error, line) from error

    def _match(self, line: bytes) -> re.Match[bytes]:
        match = self._dialect.line.fullmatch(line)
        if match is None:
            raise self._refuse(f"temperatures were expected; received {shown(line)}", line)
        return match

    def _check_sum(self, line: bytes) -> None:
        mark = self._dialect.checksum_mark
        if not mark:
            return
        body, found, told = line.rpartition(mark)
        wanted = b"%02X" % (sum(body) % 256)
        if not found or told != wanted:
            raise self._refuse(f"checksum {wanted.decode()} was expected; received {shown(line)}", line)

    def _readings(self, match: re.Match[bytes], line: bytes) -> tuple[Reading, Reading]:
        cold_junction = match["cold_junction"] if self._dialect.thermocouple else None
        return (
            self._reading(Quantity.TEMPERATURE_COIL, match["coil"], line, cold_junction=cold_junction),
            self._reading(Quantity.TEMPERATURE_AMBIENT, match["ambient"], line),
        )

    def _reading(
        self, quantity: Quantity, field: bytes, line: bytes, *, cold_junction: bytes | None = None
    ) -> Reading:
        now_s = self._clock.monotonic()
        if self._dialect.open_word in (field, cold_junction):
            # Without its cold junction's temperature a thermocouple tells nothing either.
            return Reading(quantity, None, ReadingStatus.SENSOR_OPEN, self.name, now_s, line)
        try:
            value = parse_value(field)
            if cold_junction is not None:
                value = temperature_degc(self._dialect.thermocouple, 1e-3 * value, parse_value(cold_junction))
        except (ReplyError, ValueError) as error:
            raise self._refuse(error, line) from error
        if not self._dialect.lowest_degc <= value <= self._dialect.highest_degc:
            raise self._refuse(
                f"{self._dialect.lowest_degc:g} to {self._dialect.highest_degc:g} degC was expected; "
                f"received {shown(line)}",
                line,
            )
        return Reading(quantity, value, ReadingStatus.GOOD, self.name, now_s, line)

    def _refuse(self, problem: object, line: bytes) -> ReplyError:
        self._at_line_start = False
        self._last_count = None
        message = STREAM if self._dialect.streaming else self._dialect.measure.encode("ascii")
        return self._exchange.refuse(message, problem, line)
