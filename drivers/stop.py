"""A token that asks the one thread of a nest to stop.

Signal handlers, a broken output pipe and the page's *Stop drive* only set the token. Every sleep and every
link wait looks at it at least each 0.1 s, so the nest's own thread leaves by its usual exit path, which
switches the drive off.
"""

import time
from collections.abc import Iterator
from contextlib import contextmanager

POLL_S = 0.1
"""Longest time a wait may go on without looking at the token, in s."""


class Stopped(Exception):
    """Raised in the nest's thread after `StopToken.set`. Not an error of anything: it belongs to no tree."""


class StopToken:
    """Set once, seen by every wait, held off only while the bench is made safe.

    It holds no lock: a signal handler runs between two bytecodes of the very thread that waits here, and
    `threading.Event.set` would then wait for a lock that this thread already has.
    """

    def __init__(self) -> None:
        self._set = False
        self._reason = ""
        self._shields = 0

    def set(self, reason: str) -> None:
        """Ask for a stop; the first reason given is kept. Safe to call from a signal handler."""
        if not self._set:
            self._reason = reason
        self._set = True

    @property
    def reason(self) -> str:
        """Why the stop was asked for; empty if it was not."""
        return self._reason

    def is_set(self) -> bool:
        """Tell whether a stop was asked for, shielded or not."""
        return self._set

    def clear(self) -> None:
        """Forget the stop, before the next run. Only the owner of the nest calls this."""
        self._set = False
        self._reason = ""

    def check(self) -> None:
        """Raise `Stopped` if a stop was asked for and no shield is up."""
        if self._set and not self._shields:
            raise Stopped(self._reason or "stop asked for")

    def wait(self, seconds: float) -> None:
        """Wait in real time for `seconds`, or until the stop comes (then `Stopped`)."""
        deadline_s = time.monotonic() + seconds
        self.check()
        while (left_s := deadline_s - time.monotonic()) > 0:
            time.sleep(min(left_s, POLL_S))
            self.check()

    @contextmanager
    def shielded(self) -> Iterator[None]:
        """While open, `check` does not raise: a second Ctrl-C must not skip the switching off."""
        self._shields += 1
        try:
            yield
        finally:
            self._shields -= 1
