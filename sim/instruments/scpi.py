"""The small SCPI base of the simulated meter and source.

Not imitated: compound messages (`A;B`), long forms of headers, status registers, service requests, binary
blocks, the message-exchange errors of IEEE 488.2 (-410 to -440).
"""

from collections import deque
from collections.abc import Callable, Mapping

from sim.instruments.line import LineInstrument, Work
from sim.world import World

QUERY_S = 0.001
"""How long a query without measurement takes."""

QUEUE_LENGTH = 16
OVERLOAD = 9.9e37
NOT_A_NUMBER = 9.91e37


class CommandError(Exception):
    """A message that goes to the error queue instead of being carried out."""

    def __init__(self, code: int, text: str) -> None:
        super().__init__(code, text)
        self.code = code
        self.text = text


Handler = Callable[[str], "Work | str | None"]
"""Carries out a header's argument: returns work, the text of a plain response, or nothing."""


class ScpiInstrument(LineInstrument):
    """Looks a header up in `handlers`, keeps the error queue, answers the common commands."""

    def __init__(self, name: str, world: World, identity: str) -> None:
        super().__init__(name, world, identity)
        self._errors: deque[tuple[int, str]] = deque()
        self._handlers: dict[str, Handler] = {
            "*IDN?": lambda argument: self.shown_identity(),
            "*RST": self._reset,
            "*CLS": self._clear,
            "*OPC?": lambda argument: "1",
            "SYST:ERR?": self._take_error,
            **self.handlers(),
        }

    def handlers(self) -> Mapping[str, Handler]:
        """Return what this instrument understands beside the common commands."""
        raise NotImplementedError

    def reset(self) -> None:
        """Go to the state that `*RST` defines."""
        raise NotImplementedError

    def report_error(self, code: int, text: str) -> None:
        """Put an entry into the error queue; a full queue ends with -350."""
        if len(self._errors) < QUEUE_LENGTH:
            self._errors.append((code, text))
        else:
            self._errors[-1] = (-350, "Queue overflow")

    def execute(self, line: bytes, now_s: float) -> Work | None:
        """Carry out one program message."""
        header, _, argument = line.decode("ascii", "replace").strip().partition(" ")
        if not header:
            return None
        handler = self._handlers.get(header.upper())
        try:
            if handler is None:
                raise CommandError(-113, "Undefined header")
            done = handler(argument.strip())
        except CommandError as error:
            self.report_error(error.code, error.text)
            return None
        if isinstance(done, str):
            response = done.encode("ascii") + b"\n"
            return Work(QUERY_S, lambda now_s: response)
        return done

    def _reset(self, argument: str) -> None:
        self.reset()

    def _clear(self, argument: str) -> None:
        self._errors.clear()

    def _take_error(self, argument: str) -> str:
        code, text = self._errors.popleft() if self._errors else (0, "No error")
        return f'{code},"{text}"'


def number(argument: str, low: float, high: float) -> float:
    """Parse a number of a program message; -104 if it is none, -222 if it is outside `low` to `high`."""
    try:
        value = float(argument)
    except ValueError:
        raise CommandError(-104, "Data type error") from None
    if not low <= value <= high:
        raise CommandError(-222, "Data out of range")
    return value


def nr3(value: float) -> str:
    """Write a number as NR3 with a sign and six digits, like `+2.87654E-05`."""
    return f"{value:+.5E}"
