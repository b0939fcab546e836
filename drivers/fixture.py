"""The serial fixture: route, height stage, field sensor, contact check, dead-man.

Each program message has a number and each response repeats it, so a late or doubled response is recognised,
thrown away and never taken for another's. A response to a number that was not sent lately, or with a wrong
checksum, is a `ReplyError`.

CAUTION: the stage pinches, and the magnets near it attract tools; keep hands out while the guard is open.
Route and dead-man are aids, no safety function.
"""

from collections.abc import Sequence

from drivers.clock import Clock
from drivers.dialects import FixtureDialect
from drivers.errors import InstrumentReported, ReplyError
from drivers.fixture_line import SEQUENCE_MODULUS, FixtureReply, fixture_cycles, parse_line, program_line
from drivers.group import Group
from drivers.instruments import FixtureState, Interlocks, Route
from drivers.link import Link
from drivers.numbers import parse_integer, shown
from drivers.readings import Identity, Quantity, Reading, ReadingStatus
from drivers.session import Exchange, check_identity

UNKNOWN_COMMAND = 1
"""The fixture's error code for a command that it does not have, such as HEIGHT without a stage."""
NOT_ALLOWED_NOW = 3
"""The fixture's error code for what its state forbids; ours too where its flags tell of a dropped drive."""

_STALE_SEQUENCES = 16  # a response to one of this many earlier messages is late, not foreign
_STALE_LINES = 8  # more late responses than this in a row are a fault
_SOURCE_ROUTES = (Route.SOURCE_FORWARD, Route.SOURCE_REVERSE)
_TESLA_PER_COUNT = 1e-9  # the field is told in whole nanotesla
_OHM_PER_COUNT = 1e-6  # a contact's resistance is told in whole microohm


class LineFixture:
    """A `Fixture` on the line protocol.

    `has_stage` is what the bench set-up says; without that it is learnt from the fixture: a state without a
    height, or error 1 on HEIGHT, mean that there is no stage.
    """

    def __init__(
        self,
        link: Link,
        clock: Clock,
        dialect: FixtureDialect,
        *,
        name: str = "",
        expected_identity: str = "",
        has_stage: bool | None = None,
        mains_hz: float = 50.0,
    ) -> None:
        self.name = name or link.name
        self._mains_hz = mains_hz
        self.has_stage = has_stage is not False
        self._stage_is_stated = has_stage is not None
        self._exchange = Exchange(link, dialect.wire)
        self._clock = clock
        self._dialect = dialect
        self._expected_identity = expected_identity
        self._routes = {word: route for route, word in dialect.routes.items()}
        self._sequence = SEQUENCE_MODULUS - 1
        self._route: Route | None = None

    def identify(self) -> Identity:
        """Ask who is there; raises `WrongInstrument` if the bench file expects another."""
        reply = self._ask("identity")
        if len(reply.fields) != 4:
            raise self._refuse("identity", "maker, model, serial and firmware were expected", reply)
        identity = Identity(*reply.fields)
        check_identity(self.name, identity, self._expected_identity)
        return identity

    def can(self, quantity: Quantity) -> bool:
        """Tell whether the fixture measures `quantity`: flux density and contact resistance."""
        return quantity in (Quantity.FLUX_DENSITY, Quantity.CONTACT_RESISTANCE)

    def state(self) -> FixtureState:
        """Ask for the fixture's state."""
        reply = self._ask("state")
        if len(reply.fields) != 3:
            raise self._refuse("state", "route, height and contact cycles were expected", reply)
        words = self._routes
        word, height, cycles = reply.fields
        if word not in words:
            raise self._refuse("state", f"a route ({', '.join(words)}) was expected", reply)
        if not self._stage_is_stated:
            self.has_stage = height != "-"
        return FixtureState(
            route=words[word],
            loaded=reply.has("L"),
            guard_closed=reply.has("G"),
            hand_stop=reply.has("S"),
            height_m=None if height == "-" else self._integer("state", height, reply) * 1e-6,
            contact_cycles=self._integer("state", cycles, reply),
        )

    def set_route(self, route: Route) -> Interlocks:
        """Connect the coil to `route`; the source routes enable the dead-man first.

        Call it only with the source's output verified off: relays that break a current weld.

        Raises:
            InstrumentReported: the fixture refused, or dropped the drive (guard, hand stop, dead-man).
            ReplyError: it reports another route.
        """
        self._route = None
        if route in _SOURCE_ROUTES:
            self.keep_alive()
        word = self._dialect.routes[route]
        reply = self._ask("route", word)
        if reply.fields != (word,):
            raise self._refuse("route", f"route {word} was expected", reply)
        self._route = route
        if route in _SOURCE_ROUTES:
            self._check_drive("route", reply)
        return _interlocks(reply)

    def set_height(self, height_m: float) -> None:
        """Move the field sensor to `height_m` above the top copper, to the whole micrometre.

        A move takes up to 2 s: make it with the drive off.

        Raises:
            InstrumentReported: out of range (code 2), or a fixture without a stage (code 1).
        """
        height_um = round(height_m * 1e6)
        self._move("height", height_um, argument=str(height_um))

    def retract(self) -> None:
        """Move the field sensor out of the coil's way; `InstrumentReported` (code 1) without a stage."""
        self._move("retract", self._dialect.retracted_um)

    def measure_field(self, *, mains_cycles: int) -> Reading:
        """Return the flux density in T, averaged over whole mains cycles. Positive is away from the coil.

        On a source route the fixture's state is asked afterwards: if the dead-man, the guard or the hand
        stop has opened the route meanwhile, the field was not the coil's.

        Raises:
            InstrumentReported: the fixture refused, or the drive was dropped.
        """
        group = self.field_group(mains_cycles=mains_cycles)
        group.take()
        return group.hand_out()[0]

    def field_group(self, *, mains_cycles: int) -> Group[Reading]:
        """Return an empty group of flux densities in T; raises as `measure_field`.

        One state at its end proves the route for all of them: a route that an interlock has opened stays
        open until it is set again, and nobody sets one meanwhile.
        """
        cycles = fixture_cycles(mains_cycles, self._mains_hz, self._dialect.mains_cycle_s)
        return Group(lambda: self._take_field(cycles), self._check_route_held)

    def check_contacts(self) -> Sequence[Reading]:
        """Return force-to-sense resistance of each pad in ohm, start then end; SENSOR_OPEN for no contact."""
        reply = self._ask("contact")
        if len(reply.fields) != 2:
            raise self._refuse("contact", "two resistances were expected", reply)
        return tuple(self._contact(field, reply) for field in reply.fields)

    def keep_alive(self) -> Interlocks:
        """Tell the dead-man that somebody is in charge; the drive stays enabled for 2 s."""
        return _interlocks(self._ask("alive"))

    def close(self) -> None:
        """Let the link go. The dead-man opens a source route by itself soon after."""
        self._exchange.close()

    def _take_field(self, cycles: int) -> Reading:
        reply = self._ask("field", str(cycles), more_s=cycles * self._dialect.mains_cycle_s)
        if len(reply.fields) != 2 or reply.fields[1] not in ("V", "O"):
            raise self._refuse("field", "nanotesla and V or O were expected", reply)
        count = self._integer("field", reply.fields[0], reply)
        if self._route in _SOURCE_ROUTES:
            self._check_drive("field", reply)
        if reply.fields[1] == "O":
            return self._reading(Quantity.FLUX_DENSITY, None, ReadingStatus.OVERLOAD, reply)
        return self._reading(Quantity.FLUX_DENSITY, count * _TESLA_PER_COUNT, ReadingStatus.GOOD, reply)

    def _move(self, command: str, height_um: int, *, argument: str = "") -> None:
        travel_s = self._dialect.retracted_um / self._dialect.speed_um_per_s
        try:
            reply = self._ask(command, argument, more_s=travel_s)
        except InstrumentReported as error:
            if error.code == UNKNOWN_COMMAND:
                self.has_stage = False
            raise
        if reply.fields != (str(height_um),):
            raise self._refuse(command, f"height {height_um} um was expected", reply)
        if not self._stage_is_stated:
            self.has_stage = True

    def _contact(self, field: str, reply: FixtureReply) -> Reading:
        if field == "-":
            return self._reading(Quantity.CONTACT_RESISTANCE, None, ReadingStatus.SENSOR_OPEN, reply)
        resistance_ohm = self._integer("contact", field, reply) * _OHM_PER_COUNT
        return self._reading(Quantity.CONTACT_RESISTANCE, resistance_ohm, ReadingStatus.GOOD, reply)

    def _check_route_held(self) -> None:
        """Prove that a source route is still made; on the others nothing drives, and nothing can drop it."""
        wanted = self._route
        if wanted not in _SOURCE_ROUTES:
            return
        if self.state().route is not wanted:
            self._route = None
            raise self._dropped("the fixture has opened the route")

    def _check_drive(self, command: str, reply: FixtureReply) -> None:
        if reply.has("E") and not reply.has("R"):
            return
        self._route = None
        raise self._dropped(
            f"flags {reply.flags} came with the response to '{self._dialect.commands[command]}'"
        )

    def _dropped(self, problem: str) -> InstrumentReported:
        return InstrumentReported(
            f"{self.name}: {problem}: the drive is no longer enabled (dead-man, guard or hand stop). "
            "Nothing was measured; close the guard, release the stop, measure again.",
            code=NOT_ALLOWED_NOW,
            text="drive dropped",
        )

    def _ask(self, command: str, argument: str = "", *, more_s: float = 0.0) -> FixtureReply:
        """Send one command and return its own response; the fixture's ERR becomes `InstrumentReported`."""
        words = self._dialect.commands[command]
        if argument:
            words += f" {argument}"
        self._sequence = (self._sequence + 1) % SEQUENCE_MODULUS
        message = program_line(self._sequence, words)
        timeout_s = self._dialect.wire.timeout_s + more_s
        reply = self._parse(message, self._exchange.ask(message, timeout_s=timeout_s, look_first=False))
        for _ in range(_STALE_LINES):
            if not 0 < (self._sequence - reply.sequence) % SEQUENCE_MODULUS <= _STALE_SEQUENCES:
                break
            reply = self._parse(message, self._exchange.read_on(timeout_s=timeout_s))
        if reply.sequence == self._sequence:
            return self._accept(words, reply)
        problem = f"number {self._sequence} was expected; received {shown(reply.raw)}"
        raise self._exchange.refuse(message, problem, reply.raw)

    def _parse(self, message: bytes, line: bytes) -> FixtureReply:
        try:
            return parse_line(line)
        except ReplyError as error:
            raise self._exchange.refuse(message, error, line) from error

    def _accept(self, words: str, reply: FixtureReply) -> FixtureReply:
        if reply.ok:
            return reply
        code, text = (*reply.fields, "", "")[:2]
        if not code.isdecimal():
            raise self._exchange.refuse(words.encode("ascii"), "an error code was expected", reply.raw)
        raise InstrumentReported(
            f"{self.name}: asked '{words}', the fixture answered error {code} ({text.replace('_', ' ')}). "
            "Check route, guard and range, then measure again.",
            code=int(code),
            text=text,
        )

    def _integer(self, command: str, field: str, reply: FixtureReply) -> int:
        try:
            return parse_integer(field.encode("ascii"))
        except ReplyError as error:
            raise self._refuse(command, error, reply) from error

    def _refuse(self, command: str, problem: object, reply: FixtureReply) -> ReplyError:
        words = self._dialect.commands[command].encode("ascii")
        return self._exchange.refuse(words, f"{problem}; received {shown(reply.raw)}", reply.raw)

    def _reading(
        self, quantity: Quantity, value: float | None, status: ReadingStatus, reply: FixtureReply
    ) -> Reading:
        return Reading(quantity, value, status, self.name, self._clock.monotonic(), reply.raw)


def _interlocks(reply: FixtureReply) -> Interlocks:
    return Interlocks(reply.has("L"), reply.has("G"), reply.has("S"))
