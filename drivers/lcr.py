"""Any LCR meter that a dialect describes.

What keeps a wrong number out:

- settings that can be asked back are, and compared; those that cannot are sent twice, so that one lost
  message does no harm;
- the function is sent again ahead of each trigger: it makes up for a lost choice of function, and it makes
  the former measurement void, so that a lost trigger gives "not measured" and never the last unit's number;
- a measurement counts only after the error queue has answered in its own form (see `drivers.session`,
  Framing); one such answer proves all measurements of a group;
- a setup that is in force already is not sent again, as long as nothing has failed since and nobody has
  called `forget_setup`: methods of one run share it. Each run starts with all settings sent anew, so a meter
  that was switched off and on or touched at its panel is set right for the next unit.

Never connect an LCR meter to a coil that the source drives: it is destroyed. The fixture's route is what
keeps them apart.
"""

from collections.abc import Sequence

from drivers.clock import Clock
from drivers.dialects import LcrDialect, LcrFunction, Setting
from drivers.errors import InstrumentError, ReplyError
from drivers.group import Group
from drivers.instruments import LcrSetup
from drivers.link import Link
from drivers.numbers import format_number, parse_number, shown
from drivers.readings import Identity, Quantity, Reading, ReadingStatus
from drivers.session import ScpiSession, check_identity


class ScpiLcrMeter:
    """An `LcrMeter` on SCPI."""

    def __init__(
        self, link: Link, clock: Clock, dialect: LcrDialect, *, name: str = "", expected_identity: str = ""
    ) -> None:
        self.name = name or link.name
        self._session = ScpiSession(link, dialect.wire)
        self._clock = clock
        self._dialect = dialect
        self._expected_identity = expected_identity
        self._setup: LcrSetup | None = None
        self._function = dialect.functions[0]
        self._range_ohm: float | None = None
        self._drop_next = False
        self._in_force: LcrSetup | None = None

    def identify(self) -> Identity:
        """Ask who is there; raises `WrongInstrument` if the bench file expects another."""
        self._in_force = None
        identity = self._session.identity()
        check_identity(self.name, identity, self._expected_identity)
        return identity

    def can(self, quantity: Quantity) -> bool:
        """Tell whether one of the dialect's functions gives `quantity`."""
        return any(quantity in function.fields for function in self._dialect.functions)

    def configure(self, setup: LcrSetup) -> None:
        """Set the meter up, compare what can be read back, drain the error queue.

        At frequency 0 (DC resistance) neither frequency nor level is sent: the meter has its own. Nothing is
        sent if `setup` is in force.

        Raises:
            InstrumentReported: the meter refused a setting.
            InstrumentError: no function gives these quantities together, or a setting reads back otherwise.
        """
        if setup == self._in_force:
            return
        self._setup = self._in_force = None
        function = self._function_for(setup)
        dialect = self._dialect
        messages = self._set(
            dialect.averaging, str(setup.averaging), setup.averaging, before=[function.message]
        )
        messages = self._set_range(setup.range_ohm, before=messages)
        if setup.frequency_hz:
            messages = self._set(
                dialect.frequency, format_number(setup.frequency_hz), setup.frequency_hz, before=messages
            )
            messages = self._set(dialect.level, format_number(setup.level_v), setup.level_v, before=messages)
        self._session.check_errors(*messages)
        self._function = function
        self._setup = self._in_force = setup

    def forget_setup(self) -> None:
        """Have the next `configure` send every setting, whatever is in force."""
        self._in_force = None

    def measure(self) -> tuple[Reading, ...]:
        """Take one measurement in the order of the setup's quantities; the first after a range change is
        dropped.

        Raises:
            InstrumentError: `configure` has not succeeded since the link was opened.
            ReplyError, LinkTimeout, InstrumentReported: nothing was measured.
        """
        group = self.group()
        group.take()
        return group.hand_out()[0]

    def group(self) -> Group[tuple[Reading, ...]]:
        """Return an empty group of measurements, each as `measure` gives it."""
        return Group(self._take, self._prove)

    def correct_open(self) -> None:
        """Take the open correction; the route must show an open fixture."""
        self._correct(self._dialect.correct_open)

    def correct_short(self) -> None:
        """Take the short correction; the shorting piece must be in the nest."""
        self._correct(self._dialect.correct_short)

    def close(self) -> None:
        """Let the link go."""
        self._session.close()

    def _function_for(self, setup: LcrSetup) -> LcrFunction:
        direct = Quantity.DC_RESISTANCE in setup.quantities
        if direct != (setup.frequency_hz == 0):
            raise InstrumentError(
                f"{self.name}: asked for {_words(setup)} at {setup.frequency_hz:g} Hz. "
                "Frequency 0 goes with DC resistance, and only with it."
            )
        for function in self._dialect.functions:
            if setup.quantities and set(setup.quantities) <= set(function.fields):
                return function
        raise InstrumentError(
            f"{self.name}: asked for {_words(setup)} in one measurement; dialect '{self._dialect.name}' has "
            "no such function. Ask for them one after the other, or choose another instrument."
        )

    def _set_range(self, range_ohm: float | None, *, before: Sequence[str]) -> list[str]:
        self._drop_next |= range_ohm is not None and range_ohm != self._range_ohm
        self._range_ohm = range_ohm
        dialect = self._dialect
        if range_ohm is None:
            return [*before, *[dialect.range_auto_on] * 2]
        before = [*before, *[dialect.range_auto_off] * 2]
        return self._set(dialect.range_, format_number(range_ohm), range_ohm, before=before)

    def _set(self, setting: Setting, text: str, value: float, *, before: Sequence[str]) -> list[str]:
        """Send `before` and the setting and compare it; or return them to be sent, if it can't be asked back."""
        message = setting.message.format(text)
        if setting.query is None:
            return [*before, message, message]
        tolerance = max(self._dialect.read_back_relative * value, setting.resolution)
        self._session.read_back(*before, message, setting.query, wanted=value, tolerance=tolerance)
        return []

    def _take(self) -> tuple[Reading, ...]:
        if self._setup is None:
            raise InstrumentError(
                f"{self.name}: asked to measure before it was configured. Configure it first."
            )
        in_force, self._in_force = self._in_force, None  # until it has gone well
        if self._drop_next:
            self._measure_once(self._setup)
            self._drop_next = False
        readings = self._measure_once(self._setup)
        self._in_force = in_force
        return readings

    def _prove(self) -> None:
        in_force, self._in_force = self._in_force, None
        self._session.prove()
        self._in_force = in_force

    def _measure_once(self, setup: LcrSetup) -> tuple[Reading, ...]:
        dialect = self._dialect
        timeout_s = dialect.wire.timeout_s + dialect.reading_s * setup.averaging
        reply = self._session.query(
            self._function.message, *dialect.before_query, dialect.query, timeout_s=timeout_s
        )
        try:
            found = parse_measurement(dialect, self._function, reply)
        except ReplyError as error:
            raise self._session.refuse(dialect.query, error, reply) from error
        now_s = self._clock.monotonic()
        return tuple(
            Reading(quantity, *found[quantity], instrument=self.name, monotonic_s=now_s, raw=reply)
            for quantity in setup.quantities
        )

    def _correct(self, message: str) -> None:
        session = self._session
        self._in_force = None
        session.write(message)
        self._clock.sleep(self._dialect.correction_s)
        reply = session.query("*OPC?", timeout_s=self._dialect.wire.timeout_s + self._dialect.correction_s)
        if reply != b"1":
            raise session.refuse("*OPC?", f"1 was expected; received {shown(reply)}", reply)
        session.check_errors()


Found = dict[Quantity, tuple[float | None, ReadingStatus]]


def parse_measurement(dialect: LcrDialect, function: LcrFunction, reply: bytes) -> Found:
    """Return value and status of each quantity in one response message.

    A number is a value only if the status word and the number itself say so; the status word of trouble wins.

    Raises:
        ReplyError: another form than the dialect's, an unknown status word, a place holder that is not 0,
            or nothing was measured since the last change.
    """
    fields = reply.split(dialect.separator)
    word = fields.pop(0 if dialect.status_first else -1)
    if len(fields) != len(function.fields):
        raise ReplyError(
            f"{len(function.fields)} numbers and a status were expected; received {shown(reply)}",
            received=reply,
        )
    if word not in dialect.status_words:
        raise ReplyError(
            f"a status word was expected; received {shown(word)} in {shown(reply)}", received=reply
        )
    status = dialect.status_words[word]
    if status is None:
        raise ReplyError(f"nothing was measured since the last change (status {shown(word)})", received=reply)
    found: Found = {}
    for quantity, field in zip(function.fields, fields, strict=True):
        if dialect.number.fullmatch(field) is None:
            raise ReplyError(
                f"a number in the dialect's form was expected; received {shown(field)}", received=reply
            )
        value, own_status = parse_number(field)
        if quantity is not None:
            found[quantity] = (value, own_status) if status is ReadingStatus.GOOD else (None, status)
        elif value != 0 and status is ReadingStatus.GOOD:
            raise ReplyError(
                f"the place holder must be 0; received {shown(field)}: another function?", received=reply
            )
    return found


def _words(setup: LcrSetup) -> str:
    return " and ".join(quantity.value for quantity in setup.quantities) or "nothing"
