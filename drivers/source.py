"""Any DC source that a dialect describes: the drive.

A drive left on is the second worst thing that can happen here. `output_off` does not ask whether the link
is in step: it sends first and verifies afterwards, by the output state and by a measured current near zero.

`off_bytes`, `off_queries` and `off_verified` are pure functions, for the driver and for a process that
knows no more than the source's address: send `off_bytes`, throw input away until it is quiet, send each of
`off_queries` and read its response, and ask `off_verified` whether that proves it.

CAUTION: a source delivers its full current into a short, and the coil may burn whoever touches it. These
guards are aids, no safety function: set the source's own fixed limits, and have a hand-operated stop that
cuts the drive without software.
"""

from collections.abc import Callable, Sequence
from contextlib import suppress

from drivers.clock import Clock
from drivers.dialects import Setting, SourceDialect
from drivers.errors import DriveNotOff, InstrumentError, ReplyError
from drivers.instruments import SourceSetup
from drivers.link import Link
from drivers.numbers import format_number, parse_number, shown
from drivers.readings import Identity, Quantity, Reading, ReadingStatus
from drivers.session import Exchange, ScpiSession, check_identity, link_lost, parse_error_entry

OFF_ATTEMPTS = 3
"""How often output off is ordered and verified before the drive's state is called unknown.

With the shipped dialect an attempt takes at most 0.2 s of discarding and three exchanges of 0.25 s, all of it
below 3 s of link time; opening the link anew comes on top.
"""

_OFF_PAUSE_S = 0.02  # lets the output's own capacitor run empty before the next look
_OFF_DISCARD_S = 0.2


class ScpiSource:
    """A `Source` on SCPI."""

    def __init__(
        self,
        link: Link,
        clock: Clock,
        dialect: SourceDialect,
        *,
        name: str = "",
        expected_identity: str = "",
        reopen: Callable[[], Link] | None = None,
    ) -> None:
        self.name = name or link.name
        self._session = ScpiSession(link, dialect.wire)
        self._clock = clock
        self._dialect = dialect
        self._expected_identity = expected_identity
        self._reopen = reopen
        self._ready = False

    def identify(self) -> Identity:
        """Ask who is there; raises `WrongInstrument` if the bench file expects another."""
        identity = self._session.identity()
        check_identity(self.name, identity, self._expected_identity)
        return identity

    def can(self, quantity: Quantity) -> bool:
        """Tell whether this source measures `quantity`: voltage and current."""
        return quantity in (Quantity.VOLTAGE, Quantity.CURRENT)

    def configure(self, setup: SourceSetup) -> None:
        """Set protection, then levels; read each back; drain the error queue. The output stays as it is.

        Raises:
            InstrumentReported: the source refused a setting.
            InstrumentError: a setting reads back otherwise. `output_on` is refused from then on.
        """
        self._ready = False
        dialect = self._dialect
        settings = (
            (dialect.over_voltage, setup.over_voltage_v),
            (dialect.over_current, setup.over_current_a),
            (dialect.voltage, setup.voltage_v),
            (dialect.current, setup.current_a),
        )
        for setting, value in settings:
            self._session.write(setting.message.format(format_number(value)))
        self._session.check_errors()
        for setting, value in settings:
            self._compare(setting, value)
        self._session.check_errors()
        self._ready = True

    def output_on(self) -> None:
        """Close the output, and see that it is closed.

        Raises:
            InstrumentError: not configured since the link was opened or a setting disagreed; or the output
                stayed open. After any error the output may be on: call `output_off`.
        """
        if not self._ready:
            raise InstrumentError(
                f"{self.name}: output on was refused: its settings were not set and read back. "
                "Configure it first."
            )
        session, query = self._session, self._dialect.output_query
        session.write(self._dialect.output_on)
        session.check_errors()
        reply = session.query(query)
        session.check_errors()
        if reply == b"0":
            raise InstrumentError(
                f"{self.name}: output on was ordered; asked '{query}', it answered 0. Measure again."
            )
        if reply != b"1":
            raise session.refuse(query, f"1 or 0 was expected; received {shown(reply)}", reply)

    def output_off(self) -> None:
        """Open the output at once, in step or not, and verify it by output state and a measured current
        near zero.

        Bounded: at most `OFF_ATTEMPTS` times, each ordering off anew, since an order can be lost; over a
            new link where the old one is gone and the driver was given `reopen`. Call it with the stop
            token shielded: a stop must not come between the order and its verification.

        Raises:
            DriveNotOff: it could not be verified.
        """
        trouble: Exception | None = None
        for attempt in range(OFF_ATTEMPTS):
            try:
                if attempt:
                    self._clock.sleep(_OFF_PAUSE_S)
                if trouble is not None and (link_lost(trouble) or attempt == OFF_ATTEMPTS - 1):
                    self._open_anew()
                if self._off_once():
                    return
                trouble = None
            except InstrumentError as error:
                trouble = error
        self._ready = False
        raise DriveNotOff(
            f"{self.name}: output off was ordered {OFF_ATTEMPTS} times; "
            f"{trouble or 'the output or its current stayed on'}. THE DRIVE MAY BE ON: use the hand-operated "
            "stop, then switch the source off at its mains, and clear the bench."
        ) from trouble

    def measure(self) -> tuple[Reading, Reading]:
        """Return measured voltage and current, in step (`drivers.session`, Framing).

        Raises:
            InstrumentReported: also when a protection tripped.
            ReplyError, LinkTimeout: nothing was measured.
        """
        voltage = self._ask_number(self._dialect.measure_voltage)
        current = self._ask_number(self._dialect.measure_current)
        self._session.check_errors()
        return self._reading(Quantity.VOLTAGE, *voltage), self._reading(Quantity.CURRENT, *current)

    def close(self) -> None:
        """Let the link go. The output stays as it is."""
        self._session.close()

    def _compare(self, setting: Setting, value: float) -> None:
        if setting.query is None:
            raise InstrumentError(
                f"{self.name}: dialect '{self._dialect.name}' cannot ask '{setting.message}' back, "
                "so the drive stays off. Complete the dialect file."
            )
        tolerance = max(self._dialect.read_back_relative * abs(value), setting.resolution)
        self._session.read_back(setting.query, value, tolerance=tolerance)

    def _off_once(self) -> bool:
        exchange, dialect = self._session.exchange, self._dialect
        was_in_step = exchange.in_step
        exchange.send_at_once(off_bytes(dialect))
        # In step nothing is on its way, so no quiet is waited for: off is ordered many times a unit.
        if not was_in_step or exchange.resynchronise(quiet_s=0.0):
            exchange.resynchronise(quiet_s=dialect.off_quiet_s, timeout_s=_OFF_DISCARD_S)
        replies = [_ask_raw(exchange, query, dialect) for query in off_queries(dialect)]
        if not off_verified(dialect, replies):
            return False
        with suppress(
            InstrumentError
        ):  # off is proved; what stays in the queue belongs to what failed before
            self._session.clear_errors()
        return True

    def _open_anew(self) -> None:
        if self._reopen is None:
            return
        self._session.close()  # a source takes one client
        self._ready = False
        self._session = ScpiSession(self._reopen(), self._dialect.wire)

    def _ask_number(self, query: str) -> tuple[float | None, ReadingStatus, bytes]:
        reply = self._session.query(query)
        try:
            return *_parse_measured(self._dialect, reply), reply
        except ReplyError as error:
            raise self._session.refuse(query, error, reply) from error

    def _reading(self, quantity: Quantity, value: float | None, status: ReadingStatus, raw: bytes) -> Reading:
        return Reading(quantity, value, status, self.name, self._clock.monotonic(), raw)


def off_bytes(dialect: SourceDialect) -> bytes:
    """Return what switches the output off, whatever half message stands in the instrument's input buffer."""
    terminator = dialect.wire.terminator_out
    return terminator + dialect.output_off.encode("ascii") + terminator


def off_queries(dialect: SourceDialect) -> tuple[bytes, ...]:
    """Return the queries, with terminators, whose responses prove that the output is off.

    Output state, measured current, error queue: three different forms, so that a shift of responses cannot
    pass.
    """
    words = (dialect.output_query, dialect.measure_current, "SYST:ERR?")
    return tuple(word.encode("ascii") + dialect.wire.terminator_out for word in words)


def off_verified(dialect: SourceDialect, replies: Sequence[bytes]) -> bool:
    """Tell whether the responses to `off_queries`, without terminators, prove that the output is off.

    Anything malformed proves nothing. An error entry may hold an error: the order may have cut a half
    message short.
    """
    if len(replies) != 3 or replies[0] != b"0":
        return False
    try:
        current_a, _ = _parse_measured(dialect, replies[1])
        parse_error_entry(replies[2])
    except ReplyError:
        return False
    return current_a is not None and abs(current_a) <= dialect.off_current_a


def _ask_raw(exchange: Exchange, query: bytes, dialect: SourceDialect) -> bytes:
    return exchange.ask(query.removesuffix(dialect.wire.terminator_out), timeout_s=dialect.off_timeout_s)


def _parse_measured(dialect: SourceDialect, reply: bytes) -> tuple[float | None, ReadingStatus]:
    if dialect.number.fullmatch(reply) is None:
        raise ReplyError(
            f"a number in the dialect's form was expected; received {shown(reply)}", received=reply
        )
    return parse_number(reply)
