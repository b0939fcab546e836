"""Simulated fixture of model FIX-1: route relays, contact check, field sensor, height stage, dead-man.

It does one thing after the other, but answers `ALIVE` at once, also while its stage moves. It refuses to
connect the LCR meter while it feels the drive on its source terminals. Guard open or hand stop pressed takes
the drive enable away and opens the route. Not imitated: relay bounce and wear, thermoelectric voltages,
backlash of the stage, the sensor's response time. It takes the mains for exactly 50 Hz.
"""

from binascii import crc_hqx
from collections.abc import Callable
from math import inf, sqrt

from sim.hum import averaged_hum
from sim.instruments.line import LineInstrument, Work
from sim.world import DRIVEN_ROUTES, RETRACTED_M, Route, World

ALIVE_S = 2.0
"""How long one `ALIVE` keeps the drive enabled."""

QUERY_S = 0.002
ROUTE_S = 0.015
CONTACT_S = 0.010
MAINS_CYCLE_S = 0.020
STAGE_M_PER_S = 0.010
STAGE_UM = (500, 20_000)
FIELD_RANGE_T = 0.050


class Refused(Exception):
    """A command that is answered with `ERR`."""

    def __init__(self, code: int, words: str) -> None:
        super().__init__(code, words)
        self.code = code
        self.words = words


UNKNOWN_COMMAND = (1, "unknown_command")
BAD_ARGUMENT = (2, "bad_argument")
NOT_ALLOWED_NOW = (3, "not_allowed_now")
HARDWARE = (4, "hardware")

Fields = Callable[[float], str]


class Fixture(LineInstrument):
    """Model FIX-1, with or without a height stage."""

    def __init__(
        self, name: str, world: World, identity: str, *, has_stage: bool = True, alive_s: float = ALIVE_S
    ) -> None:
        """Make a fixture; `alive_s` is how long its dead-man waits for the next `ALIVE`, in process seconds."""
        super().__init__(name, world, identity)
        self.has_stage = has_stage
        self._alive_s = alive_s
        self.contact_cycles = 0
        self.hardware_error_left = 0
        self._shown_route = Route.OPEN
        self._enabled_until_s = -inf
        self._dropped = False
        self._loaded = False
        self._commands: dict[str, Callable[[str], tuple[float, Fields]]] = {
            "ID": lambda argument: (QUERY_S, lambda now_s: self.shown_identity()),
            "STATE": lambda argument: (QUERY_S, self._state),
            "ROUTE": self._route,
            "HEIGHT": self._height,
            "RETRACT": lambda argument: self._move(STAGE_UM[1]),
            "FIELD": self._field,
            "CONTACT": self._contact,
            "ALIVE": self._alive,
        }

    def report_error(self, code: int, text: str) -> None:
        """Have the next command answered with a hardware error (a fixture has no error queue)."""
        self.hardware_error_left += 1

    # Messages.

    def urgent(self, line: bytes) -> bool:
        """`ALIVE` never waits."""
        return b" ALIVE*" in line

    def execute(self, line: bytes, now_s: float) -> Work | None:
        """Carry out one program message; one with a wrong checksum or form gets no response."""
        parsed = parse(line)
        if parsed is None:
            return None
        sequence, command, argument = parsed
        self._look_round(now_s)
        try:
            if self.hardware_error_left:
                self.hardware_error_left -= 1
                raise Refused(*HARDWARE)
            if command not in self._commands:
                raise Refused(*UNKNOWN_COMMAND)
            seconds, fields = self._commands[command](argument)
        except Refused as refusal:
            return Work(QUERY_S, self._refusal(sequence, refusal))

        def finish(now_s: float) -> bytes:
            self._look_round(now_s)
            try:
                text = fields(now_s)
            except Refused as refusal:
                return self._refusal(sequence, refusal)(now_s)
            return framed(f"<{sequence} OK {self._flags(now_s)}{' ' if text else ''}{text}")

        return Work(seconds, finish)

    def _refusal(self, sequence: int, refusal: Refused) -> Callable[[float], bytes]:
        def finish(now_s: float) -> bytes:
            return framed(f"<{sequence} ERR {self._flags(now_s)} {refusal.code} {refusal.words}")

        return finish

    def _flags(self, now_s: float) -> str:
        world = self.world
        return (
            ("L" if world.coil is not None else "-")
            + ("G" if world.guard_closed else "-")
            + ("S" if world.hand_stop else "-")
            + ("E" if self._enabled(now_s) else "-")
            + ("R" if self._dropped else "-")
        )

    # Interlocks.

    def _enabled(self, now_s: float) -> bool:
        return now_s < self._enabled_until_s and self.world.guard_closed and not self.world.hand_stop

    def _look_round(self, now_s: float) -> None:
        """Count a new unit's contact, and open a driven route that is not enabled any more."""
        loaded = self.world.coil is not None
        if loaded and not self._loaded:
            self.contact_cycles += 1
        self._loaded = loaded
        if self._shown_route in DRIVEN_ROUTES and not self._enabled(now_s):
            self._switch(Route.OPEN, by_itself=True)

    def _switch(self, route: Route, *, by_itself: bool = False) -> None:
        self._shown_route = route
        if not self.impairments.stuck:
            self.world.connect_route(route, by_itself=by_itself)

    def _alive(self, argument: str) -> tuple[float, Fields]:
        now_s = self.world.now_s
        self._dropped = False
        self._enabled_until_s = now_s + self._alive_s
        self.schedule(now_s + self._alive_s, self._dead_man)
        return QUERY_S, lambda now_s: ""

    def _dead_man(self, now_s: float) -> bytes:
        if now_s >= self._enabled_until_s > -inf:
            self._enabled_until_s = -inf
            self._dropped = True
            self._look_round(now_s)
        return b""

    def interlock_changed(self, now_s: float) -> None:
        """The guard or the hand stop has moved: contacts on the wire, no message needed."""
        self._look_round(now_s)

    # Commands.

    def _state(self, now_s: float) -> str:
        height = f"{self.world.height_m * 1e6:.0f}" if self.has_stage else "-"
        return f"{self._shown_route.value} {height} {self.contact_cycles}"

    def _route(self, argument: str) -> tuple[float, Fields]:
        try:
            route = Route(argument)
        except ValueError:
            raise Refused(*BAD_ARGUMENT) from None
        if route in DRIVEN_ROUTES and not self._enabled(self.world.now_s):
            raise Refused(*NOT_ALLOWED_NOW)
        if route is Route.LCR and self.world.drive.on:
            self.world.mishap("driven_lcr", "route LCR was asked for while the source's output was on")
            raise Refused(*NOT_ALLOWED_NOW)
        if route is not self._shown_route:
            self._switch(Route.OPEN)  # break before make

        def finish(now_s: float) -> str:
            if route in DRIVEN_ROUTES and not self._enabled(now_s):
                raise Refused(*NOT_ALLOWED_NOW)
            self._switch(route)
            return route.value

        return ROUTE_S, finish

    def _height(self, argument: str) -> tuple[float, Fields]:
        if not self.has_stage:
            raise Refused(*UNKNOWN_COMMAND)
        if not argument.isdecimal() or not STAGE_UM[0] <= int(argument) <= STAGE_UM[1]:
            raise Refused(*BAD_ARGUMENT)
        return self._move(int(argument))

    def _move(self, height_um: int) -> tuple[float, Fields]:
        if not self.has_stage:
            raise Refused(*UNKNOWN_COMMAND)
        target_m = height_um * 1e-6 if height_um != STAGE_UM[1] else RETRACTED_M

        def finish(now_s: float) -> str:
            self.world.height_m = target_m
            return str(height_um)

        return QUERY_S + abs(target_m - self.world.height_m) / STAGE_M_PER_S, finish

    def _field(self, argument: str) -> tuple[float, Fields]:
        if not argument.isdecimal() or not 1 <= int(argument) <= 1000:
            raise Refused(*BAD_ARGUMENT)
        cycles = int(argument)
        return QUERY_S + cycles * MAINS_CYCLE_S, lambda now_s: self._flux(cycles, now_s)

    def _flux(self, cycles: int, now_s: float) -> str:
        errors = self.world.errors
        flux_t = self.world.flux_density_t() * (1.0 + errors.field_gain) + errors.field_offset_t
        if self.world.noise.field_t:
            flux_t += self.world.noise.field_t / sqrt(cycles) * self.world.noise_of(f"{self.name} field")
        hum = self.world.noise.hum
        if hum.field_t:
            flux_t += hum.field_t * averaged_hum(hum.mains_hz, now_s, cycles * MAINS_CYCLE_S)
        (flux_t,) = self.reading("field", flux_t)
        if self.overloaded() or abs(flux_t) > FIELD_RANGE_T:
            return "0 O"
        return f"{round(flux_t * 1e9)} V"

    def _contact(self, argument: str) -> tuple[float, Fields]:
        if self._shown_route is not Route.KELVIN:
            raise Refused(*NOT_ALLOWED_NOW)
        return CONTACT_S, lambda now_s: " ".join(self._pads())

    def _pads(self) -> list[str]:
        if self.world.route is not Route.KELVIN or self.overloaded():
            return ["-", "-"]
        return [
            self._pad(f"{self.name} {pad}", true_ohm)
            for pad, true_ohm in zip(("start", "end"), self.world.contacts_ohm())
        ]

    def _pad(self, channel: str, true_ohm: float) -> str:
        if true_ohm == inf:
            return "-"
        errors = self.world.errors
        shown_ohm = true_ohm + errors.contact_lead_ohm + errors.contact_wear_ohm * self.contact_cycles
        if self.world.noise.contact_ohm:
            shown_ohm += self.world.noise.contact_ohm * self.world.noise_of(channel)
        (shown_ohm,) = self.reading(channel, shown_ohm)
        return str(max(0, round(shown_ohm * 1e6)))


def framed(text: str) -> bytes:
    """Return `text` with its checksum and the line's end."""
    body = text.encode("ascii")
    return b"%s*%04X\n" % (body, crc_hqx(body, 0xFFFF))


def parse(line: bytes) -> tuple[int, str, str] | None:
    """Return (sequence, command, argument) of a program message; None if anything about it is wrong."""
    body, star, checksum = line.rstrip(b"\r").rpartition(b"*")
    if not star or not body.startswith(b">") or checksum != b"%04X" % crc_hqx(body, 0xFFFF):
        return None
    number, _, rest = body[1:].decode("ascii", "replace").partition(" ")
    if not number.isdecimal() or int(number) > 255:
        return None
    command, _, argument = rest.partition(" ")
    return int(number), command, argument
