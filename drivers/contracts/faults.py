"""The faults that every driver must survive: what can arrive in a response message's place.

Each is a function of time and bytes (see `drivers.contracts.scripted.Fault`). A garbled digit is among them
only for protocols with a checksum: no other receiver can see it.
"""

from collections.abc import Mapping
from functools import partial

from drivers.contracts.scripted import Delivery, Fault

DELAYS_S = (0.2, 0.45, 0.7, 1.1, 1.3, 2.5)
"""Within the time allowed, just beyond it, and beyond every quiet that a driver waits for, in s."""

SHORT_DELAYS_S = (0.0, 0.001, 0.01, 0.15)
"""How much later a doubled response may come: before the next look at the input, and after it, in s."""


def late(delay_s: float, time_s: float, data: bytes) -> list[Delivery]:
    """The whole response comes later by `delay_s`."""
    return [(time_s + delay_s, data)]


def lost(time_s: float, data: bytes) -> list[Delivery]:
    """Nothing comes."""
    return []


def split(delay_s: float, time_s: float, data: bytes) -> list[Delivery]:
    """The second half comes later by `delay_s`: it may look like a number of its own."""
    middle = len(data) // 2
    return [(time_s, data[:middle]), (time_s + delay_s, data[middle:])]


def cut(time_s: float, data: bytes) -> list[Delivery]:
    """Half of it, then silence."""
    return [(time_s, data[: len(data) // 2])]


def doubled(delay_s: float, time_s: float, data: bytes) -> list[Delivery]:
    """It comes again after `delay_s`."""
    return [(time_s, data), (time_s + delay_s, data)]


def preceded(extra: bytes, time_s: float, data: bytes) -> list[Delivery]:
    """A message that nobody asked for comes first."""
    return [(time_s, extra + data)]


def replaced(body: bytes, time_s: float, data: bytes) -> list[Delivery]:
    """Another text with the same terminator."""
    return [(time_s, body + terminator_of(data))]


def without_byte(position: int, time_s: float, data: bytes) -> list[Delivery]:
    """One byte is dropped."""
    position %= max(1, len(data) - len(terminator_of(data)))
    return [(time_s, data[:position] + data[position + 1 :])]


def with_byte(position: int, byte: bytes, time_s: float, data: bytes) -> list[Delivery]:
    """One byte becomes another."""
    position %= max(1, len(data) - len(terminator_of(data)))
    return [(time_s, data[:position] + byte + data[position + 1 :])]


def with_next_digit(time_s: float, data: bytes) -> list[Delivery]:
    """The last digit before the checksum becomes another digit."""
    positions = [i for i, byte in enumerate(data[: -4 - len(terminator_of(data))]) if chr(byte).isdigit()]
    position = positions[-1]
    return [(time_s, data[:position] + b"%d" % ((data[position] - 47) % 10) + data[position + 1 :])]


def hung_up(time_s: float, data: bytes) -> list[Delivery]:
    """The other end closes half-way through."""
    return [(time_s, data[: len(data) // 2]), (time_s, None)]


def terminator_of(data: bytes) -> bytes:
    """Return the terminator that ends `data`: CR LF, LF or CR."""
    return next((end for end in (b"\r\n", b"\n", b"\r") if data.endswith(end)), b"")


SOUND = (
    "nan",
    "inf",
    "-inf",
    "1_0",
    "+1.5E+00,",
    "",
    "   ",
    "1.5 ",
    "0x10",
    "1E400",
    "++1",
    "NaN",
    "+9.9E+38",
)
"""Texts that lenient parsers take for numbers, and their kin."""

SPECIAL = ("9.9E37", "9.91E37", "-9.9E37", "+9.90000E+37", "+9.91000E+37")
"""SCPI's special numbers, alone in a response (SCPI-1999 vol. 1, 7.2.1.4-5)."""

FAULTS: Mapping[str, Fault] = {
    **{f"late by {delay_s:g} s": partial(late, delay_s) for delay_s in DELAYS_S},
    **{f"split by {delay_s:g} s": partial(split, delay_s) for delay_s in DELAYS_S},
    **{f"doubled after {delay_s:g} s": partial(doubled, delay_s) for delay_s in SHORT_DELAYS_S},
    **{f"replaced by {text!r}": partial(replaced, text.encode()) for text in (*SOUND, *SPECIAL)},
    **{f"without byte {position}": partial(without_byte, position) for position in (0, 1, 4, 7)},
    **{f"byte {position} not ASCII": partial(with_byte, position, b"\xb2") for position in (0, 1, 4)},
    "NUL inside": partial(with_byte, 3, b"\x00"),
    "lost": lost,
    "cut": cut,
    "preceded by a number": partial(preceded, b"+1.00000E+00\n"),
    "preceded by an error entry": partial(preceded, b'0,"No error"\n'),
    "over-long": partial(preceded, b"7" * 100_000),
    "hung up": hung_up,
}
"""What can arrive in place of one response, by name."""

CHECKED_FAULTS: Mapping[str, Fault] = {"another digit": with_next_digit}
"""Faults that only a protocol with a checksum can see."""
