"""Time of the simulated board, in front of MicroPython's own `time`.

On a serial line (BOARD_FD set) it is real. Else it is simulated: it goes on a little with each turn of the
firmware's main loop, and jumps where the firmware rests.
"""

import os

import utime as real

SIMULATED = os.getenv("BOARD_FD") is None

now_us = 0
"""Simulated time; `machine` moves it."""

ticks_add = real.ticks_add
ticks_diff = real.ticks_diff
if SIMULATED:

    def ticks_us() -> int:
        """Return simulated microseconds."""
        return now_us

    def ticks_ms() -> int:
        """Return simulated milliseconds."""
        return now_us // 1000

    def sleep_us(microseconds: int) -> None:
        """Let simulated time pass."""
        global now_us
        now_us += microseconds

    def sleep_ms(milliseconds: int) -> None:
        """Let simulated time pass."""
        sleep_us(1000 * milliseconds)

else:
    ticks_us = real.ticks_us
    ticks_ms = real.ticks_ms
    sleep_us = real.sleep_us
    sleep_ms = real.sleep_ms
