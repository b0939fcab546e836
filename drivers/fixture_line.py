"""The fixture's lines: numbered, check-summed, and how each is written and read. Pure functions.

    >SEQ COMMAND [ARGUMENT]*CCCC
    <SEQ OK|ERR FLAGS [FIELD ...]*CCCC

`CCCC` is CRC-16/CCITT (polynomial 0x1021, start 0xFFFF, not reflected) in four upper-case hex digits over
everything up to but without `*`. Its published check value, over the nine bytes `123456789`, is 0x29B1.
"""

import binascii
import math
import re
from typing import NamedTuple

from drivers.errors import ReplyError
from drivers.numbers import shown

SEQUENCE_MODULUS = 256

_LINE = re.compile(rb"<(\d{1,3}) (OK|ERR) ([L-][G-][S-][E-][R-])((?: [!-)+-~]+)*)\*([0-9A-F]{4})")


class FixtureReply(NamedTuple):
    """One response line: its number, its flags, its fields."""

    sequence: int
    ok: bool
    flags: str
    """Five letters: L loaded, G guard closed, S hand stop, E drive enabled, R enable dropped; `-` for not."""
    fields: tuple[str, ...]
    raw: bytes

    def has(self, flag: str) -> bool:
        """Tell whether `flag` (one of L G S E R) is up."""
        return flag in self.flags


def checksum(data: bytes) -> bytes:
    """Return CRC-16/CCITT-FALSE of `data` as four upper-case hex digits."""
    return b"%04X" % binascii.crc_hqx(data, 0xFFFF)


def program_line(sequence: int, command: str) -> bytes:
    """Return a program message, without terminator."""
    body = f">{sequence} {command}".encode("ascii")
    return body + b"*" + checksum(body)


def fixture_cycles(mains_cycles: int, mains_hz: float, cycle_s: float) -> int:
    """Return over how many of its own cycles, `cycle_s` each, a fixture averages so that hum cancels.

    The first count whose time holds `mains_cycles` or more, and a whole number of them to 1 % of one; if there is
    none within 25 counts, the nearest. Over whole cycles a sine averages to nothing.

    >>> fixture_cycles(2, 50.0, 0.02), fixture_cycles(2, 60.0, 0.02)
    (2, 5)
    """
    least = max(1, math.ceil(mains_cycles / (mains_hz * cycle_s) - 1e-9))

    def miss(count: int) -> float:
        held = count * cycle_s * mains_hz
        return abs(held - round(held))

    counts = range(least, least + 25)
    return next((each for each in counts if miss(each) <= 0.01), min(counts, key=miss))


def parse_line(line: bytes) -> FixtureReply:
    """Return one response line taken apart; raises `ReplyError` for another form or a wrong checksum."""
    match = _LINE.fullmatch(line)
    if match is None:
        raise ReplyError(f"a line <SEQ OK FLAGS ...*CCCC was expected; received {shown(line)}", received=line)
    wanted = checksum(line[: match.start(5) - 1])
    if match[5] != wanted:
        raise ReplyError(
            f"checksum {wanted.decode()} was expected; received {match[5].decode()} in {shown(line)}",
            received=line,
        )
    sequence = int(match[1])
    if sequence >= SEQUENCE_MODULUS:
        raise ReplyError(f"a number of 0 to 255 was expected; received {shown(line)}", received=line)
    fields = tuple(match[4].decode("ascii").split())
    return FixtureReply(sequence, match[2] == b"OK", match[3].decode("ascii"), fields, line)
