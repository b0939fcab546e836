"""Scans from standard input, one a line; waiting for one notices a stop, and who scans too early is told."""

import os
import select
import sys
from collections import deque
from collections.abc import Iterator

from drivers.stop import POLL_S, Stopped
from station.cli.output import say
from station.stop import NestStop

SCAN_LIMIT = 4_096
"""Characters of a line that are looked at; a scan is far shorter."""


class Scans:
    """Lines of standard input. Read from the descriptor: Python's own reading would sleep through a Ctrl-C."""

    def __init__(self, stop: NestStop) -> None:
        self._stop = stop
        self._rest = b""
        self._lines: deque[bytes] = deque()

    def ask(self, words: str) -> str:
        """Say `words`, then wait for a scan and return it without its line end.

        At a terminal, what was scanned before is refused: a scan answers what is asked, and is never queued.

        Raises:
            Stopped: a stop was asked for, or the input has ended.
        """
        if sys.stdin.isatty():
            self._refuse_early()
        say(words)
        if not self._wait():
            raise Stopped("the input has ended")
        return self._lines.popleft().decode("utf-8", "replace").rstrip("\r")

    def lines(self) -> Iterator[str]:
        """Yield scans until the input ends; raises Stopped when a stop is asked for meanwhile.

        At a terminal, what was scanned while the last one was worked on is refused.
        """
        while self._wait():
            yield self._lines.popleft().decode("utf-8", "replace").rstrip("\r")
            if sys.stdin.isatty():
                self._refuse_early()

    def _wait(self) -> bool:
        """Wait for a line; False at the end of the input, whose last line may lack its end."""
        while not self._lines:
            self._stop.check()
            if select.select([sys.stdin.fileno()], [], [], POLL_S)[0] and not self._read():
                return bool(self._lines)
        return True

    def _refuse_early(self) -> None:
        while select.select([sys.stdin.fileno()], [], [], 0.0)[0] and self._read():
            pass
        if self._lines or self._rest:
            say("refused: what was scanned while the bench was busy was NOT taken.")
        self._lines.clear()
        self._rest = b""

    def _read(self) -> bool:
        """Take up what has come; False at the end of the input."""
        found = os.read(sys.stdin.fileno(), SCAN_LIMIT)
        if not found:
            self._lines.extend([self._rest] if self._rest else [])
            self._rest = b""
            return False
        *lines, self._rest = (self._rest + found).split(b"\n")
        if len(self._rest) > SCAN_LIMIT:
            lines, self._rest = [*lines, self._rest[:SCAN_LIMIT]], b""
        self._lines.extend(lines)
        return True
