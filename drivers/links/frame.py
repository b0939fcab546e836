"""The frame of a serial line, as the trade writes it."""

import re
import termios
from dataclasses import dataclass

_DATA_BITS = {termios.CS5: 5, termios.CS6: 6, termios.CS7: 7, termios.CS8: 8}


@dataclass(frozen=True, slots=True)
class SerialFrame:
    """How a character goes over the line."""

    data_bits: int
    parity: str
    """N, E or O."""
    stop_bits: int

    def __str__(self) -> str:
        return f"{self.data_bits}{self.parity}{self.stop_bits}"


def parse_frame(text: str) -> SerialFrame:
    """Return the frame written as the trade writes it: data bits, parity, stop bits, as in `8N1` or `7E2`.

    Raises `ValueError` for anything else.
    """
    found = re.fullmatch(r"([5-8])([NEO])([12])", text.upper())
    if not found:
        raise ValueError(
            f"a serial frame must be data bits 5 to 8, parity N, E or O, stop bits 1 or 2; got {text[:40]!r}"
        )
    return SerialFrame(data_bits=int(found[1]), parity=found[2], stop_bits=int(found[3]))


def check_frame(descriptor: int, frame: SerialFrame) -> None:
    """Raise `ValueError` unless the port really has `frame`: a system may drop what a port cannot do, silently.

    (A pseudo-terminal keeps 8N1 whatever is asked for; its `tcsetattr` fails only if nothing else changes.)
    """
    flags = termios.tcgetattr(descriptor)[2]
    parity = "N" if not flags & termios.PARENB else "O" if flags & termios.PARODD else "E"
    found = SerialFrame(
        data_bits=_DATA_BITS[flags & termios.CSIZE],
        parity=parity,
        stop_bits=2 if flags & termios.CSTOPB else 1,
    )
    if found != frame:
        raise ValueError(f"the port stays at {found}")
