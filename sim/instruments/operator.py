"""The simulated operator's hands, behind a line protocol (ASCII, LF), so that loading is apart from the scan.

`LOAD <serial>`, `UNLOAD`, `SPACER <um>` (0: none), `WARM <kelvin>` (the next unit comes hand-warmed),
`HANDSTOP ON|OFF`, `GUARD OPEN|CLOSED`, `AMBIENT <degC>` answer `OK`; `STATE?` answers `LOADED <serial>` or
`EMPTY`; `ID?` answers who it is. What cannot be done answers `ERR words`. `OK` to LOAD and UNLOAD comes at
once: the hands do it in their own time (1 s unless said), one thing after the other, with the guard open
meanwhile.
Not imitated: a unit put in askew, two units in one nest, hands that stay in the nest.
"""

from collections.abc import Callable

from sim.instruments.fixture import Fixture
from sim.instruments.line import LineInstrument, Work
from sim.truth import CoilTruth, shorting_piece
from sim.world import RETRACTED_M, World

ANSWER_S = 0.001
SHORT = "SHORT"
"""`LOAD SHORT` puts the shorting piece in."""


class Cannot(Exception):
    """The hands cannot do what was asked."""


class Operator(LineInstrument):
    """Hands that take units from `find_unit` (serial to truth; KeyError if there is none) to the nest."""

    def __init__(
        self,
        name: str,
        world: World,
        identity: str,
        find_unit: Callable[[str], CoilTruth],
        fixture: Fixture,
        *,
        handling_s: float = 1.0,
    ) -> None:
        super().__init__(name, world, identity)
        self.handling_s = handling_s
        self._find_unit = find_unit
        self._fixture = fixture
        self._warm_k = 0.0
        self._hands_free_s = 0.0
        self._will_hold = ""
        self._commands: dict[str, Callable[[str, float], str]] = {
            "ID?": lambda argument, now_s: self.shown_identity(),
            "LOAD": self._load,
            "UNLOAD": self._unload,
            "SPACER": self._spacer,
            "WARM": self._warm,
            "HANDSTOP": self._hand_stop,
            "GUARD": self._guard,
            "AMBIENT": self._ambient,
            "STATE?": lambda argument, now_s: f"LOADED {world.unit}" if world.coil else "EMPTY",
        }

    def execute(self, line: bytes, now_s: float) -> Work | None:
        """Carry out one line."""
        command, _, argument = line.decode("ascii", "replace").strip().partition(" ")
        if not command:
            return None
        try:
            if command not in self._commands:
                raise Cannot(f"unknown command {command}")
            answer = self._commands[command](argument.strip(), now_s)
        except Cannot as reason:
            answer = f"ERR {reason}"
        data = answer.encode("ascii", "replace") + b"\n"
        return Work(ANSWER_S, lambda now_s: data)

    def _load(self, serial: str, now_s: float) -> str:
        if self._will_hold:
            raise Cannot(f"nest holds {self._will_hold}: unload it first")
        try:
            coil = shorting_piece() if serial == SHORT else self._find_unit(serial)
        except KeyError:
            raise Cannot(f"no unit {serial} here") from None
        warm_k, self._warm_k = self._warm_k, 0.0
        self._will_hold = serial
        self._reach_in(now_s, lambda: self.world.load(coil, warm_k=warm_k))
        return "OK"

    def _unload(self, argument: str, now_s: float) -> str:
        if not self._will_hold:
            raise Cannot("nest is empty")
        self._will_hold = ""
        self._reach_in(now_s, self.world.unload)
        return "OK"

    def _reach_in(self, now_s: float, act: Callable[[], None]) -> None:
        start_s = max(now_s, self._hands_free_s)
        self._hands_free_s = start_s + self.handling_s

        def finish(now_s: float) -> bytes:
            act()
            return self._set_guard(True, now_s)

        self.schedule(start_s, lambda now_s: self._set_guard(False, now_s))
        self.schedule(self._hands_free_s, finish)

    def _set_guard(self, closed: bool, now_s: float) -> bytes:
        self.world.guard_closed = closed
        self._fixture.interlock_changed(now_s)
        return b""

    def _spacer(self, argument: str, now_s: float) -> str:
        if self._fixture.has_stage:
            raise Cannot("the fixture has a stage: no spacer fits")
        if not argument.isdecimal() or int(argument) > 20_000:
            raise Cannot("a spacer is 0 to 20000 um")
        self.world.height_m = int(argument) * 1e-6 or RETRACTED_M
        return "OK"

    def _warm(self, argument: str, now_s: float) -> str:
        self._warm_k = _number(argument)
        return "OK"

    def _hand_stop(self, argument: str, now_s: float) -> str:
        self.world.hand_stop = _choice(argument, on="ON", off="OFF")
        self._fixture.interlock_changed(now_s)
        return "OK"

    def _guard(self, argument: str, now_s: float) -> str:
        self._set_guard(_choice(argument, on="CLOSED", off="OPEN"), now_s)
        return "OK"

    def _ambient(self, argument: str, now_s: float) -> str:
        self.world.set_ambient(_number(argument))
        return "OK"


def _number(argument: str) -> float:
    try:
        value = float(argument)
    except ValueError:
        raise Cannot(f"{argument or 'nothing'} is no number") from None
    if not -100.0 <= value <= 200.0:
        raise Cannot(f"{argument} is out of range")
    return value


def _choice(argument: str, *, on: str, off: str) -> bool:
    if argument not in (on, off):
        raise Cannot(f"say {on} or {off}")
    return argument == on
