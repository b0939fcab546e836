"""The frame of a serial line, as the trade writes it."""

import re
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SerialFrame:
    """How a character goes over the line."""

    data_bits: int
    parity: str
    """N, E or O."""
    stop_bits: int


def parse_frame(text: str) -> SerialFrame:
    """Return the frame written as the trade writes it: data bits, parity, stop bits, as in `8N1` or `7E2`.

    Raises `ValueError` for anything else.
    """
    found = re.fullmatch(r"([5-8])([NEO])([12])", text.upper())
    if not found:
        raise ValueError(
            f"a serial frame must be data bits 5 to 8, parity N, E or O, stop bits 1 or 2; got {text!r}"
        )
    return SerialFrame(data_bits=int(found[1]), parity=found[2], stop_bits=int(found[3]))
