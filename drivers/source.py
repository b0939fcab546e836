"""Any DC source that a dialect describes: the drive.

A drive left on is the second worst thing that can happen here. `output_off` does not ask whether the link
is in step: it sends first and verifies afterwards, by the output state and by a measured current near zero.

Settings that are in force already, read back once and with nothing gone wrong since, are not sent again: one
run drives the same way several times. `forget_setup` ends that, so each run starts with all of them sent and
read back. Between drives of one run only a hand at the panel could change them: a changed level shows by the
measured current, and the source's own fixed limits stand in any case.

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
from drivers.group import Group
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
        self._in_force: SourceSetup | None = None

    def identify(self) -> Identity:
        """Ask who is there; raises `WrongInstrument` if the bench file expects another."""
        self._in_force = None
        identity = self._session.identity()
        check_identity(self.name, identity, self._expected_identity)
        return identity

    def can(self, quantity: Quantity) -> bool:
        """Tell whether this source measures `quantity`: voltage and current."""
        return quantity in (Quantity.VOLTAGE, Quantity.CURRENT)

    def configure(self, setup: SourceSetup) -> None:
        """Set protection, then levels; read each back; drain the error queue. The output stays as it is.

        Nothing is sent if `setup` is in force.

        Raises:
            InstrumentReported: the source refused a setting.
            InstrumentError: a setting reads back otherwise. `output_on` is refused from then on.
        """
        if setup == self._in_force:
            return
        self._in_force = None
        dialect = self._dialect
        settings = (
            (dialect.over_voltage, setup.over_voltage_v),
            (dialect.over_current, setup.over_current_a),
            (dialect.voltage, setup.voltage_v),
            (dialect.current, setup.current_a),
        )
        self._session.check_errors(
            *(setting.message.format(format_number(value)) for setting, value in settings)
        )
        for setting, value in settings:
            self._compare(setting, value)
        self._session.check_errors()
        self._in_force = setup

    def forget_setup(self) -> None:
        """Have the next `configure` send every setting and read it back; `output_on` is refused until then."""
        self._in_force = None

    def output_on(self) -> None:
        """Close the output, and see that it is closed.

        Raises:
            InstrumentError: not configured since the link was opened, or since something went wrong; or the
                output stayed open. After any error the output may be on: call `output_off`.
        """
        in_force, self._in_force = self._in_force, None  # until it has gone well
        if in_force is None:
            raise InstrumentError(
                f"{self.name}: output on was refused: its settings were not set and read back. "
                "Configure it first."
            )
        session, query = self._session, self._dialect.output_query
        reply = session.query(self._dialect.output_on, query)
        session.check_errors()
        if reply == b"0":
            raise InstrumentError(
                f"{self.name}: output on was ordered; asked '{query}', it answered 0. Measure again."
            )
        if reply != b"1":
            raise session.refuse(query, f"1 or 0 was expected; received {shown(reply)}", reply)
        self._in_force = in_force

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
                    self._in_force = None
                    self._clock.sleep(_OFF_PAUSE_S)
                if trouble is not None and (link_lost(trouble) or attempt == OFF_ATTEMPTS - 1):
                    self._open_anew()
                if self._off_once():
                    return
                trouble = None
            except InstrumentError as error:
                trouble = error
        self._in_force = None
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
        group = Group(self._take_both, self._prove)
        group.take()
        return group.hand_out()[0]

    def current_group(self) -> Group[Reading]:
        """Return an empty group of measured currents; its `hand_out` raises as `measure`."""
        return Group(self._take_current, self._prove)

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
        self._session.read_back(setting.query, wanted=value, tolerance=tolerance)

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
        if parse_error_entry(replies[-1])[0] != 0:
            self._in_force = None
            with suppress(InstrumentError):
                # Off is proved; what stays in the queue belongs to what failed before.
                self._session.clear_errors()
        return True

    def _take_both(self) -> tuple[Reading, Reading]:
        voltage = self._take_reading(Quantity.VOLTAGE, self._dialect.measure_voltage)
        return voltage, self._take_current()

    def _take_current(self) -> Reading:
        return self._take_reading(Quantity.CURRENT, self._dialect.measure_current)

    def _take_reading(self, quantity: Quantity, query: str) -> Reading:
        in_force, self._in_force = self._in_force, None  # until it has gone well
        reply = self._session.query(query)
        try:
            value, status = _parse_measured(self._dialect, reply)
        except ReplyError as error:
            raise self._session.refuse(query, error, reply) from error
        self._in_force = in_force
        return Reading(quantity, value, status, self.name, self._clock.monotonic(), reply)

    def _prove(self) -> None:
        in_force, self._in_force = self._in_force, None
        self._session.prove()
        self._in_force = in_force

    def _open_anew(self) -> None:
        if self._reopen is None:
            return
        self._session.close()  # a source takes one client
        self._in_force = None
        self._session = ScpiSession(self._reopen(), self._dialect.wire)


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
