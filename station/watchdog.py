"""The station's side of the watchdog: start it, keep its lease, see that it lives.

The lease is 0.6 s and is renewed whenever the nest's thread looks at its stop token, which is at least each
0.1 s in every sleep and link wait. So a station that is stopped or hangs with the drive on is found out after
0.6 s, and the drive is off within 1 s, with time left to connect.
"""

import os
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

from drivers.links.ready import wait_for_input
from drivers.stop import POLL_S, StopToken
from station import watchdog_process
from station.errors import WatchdogLost
from station.watchdog_process import CLOSED, DRIVE_OFF, READY, RENEWED, Order

LEASE_S = 0.6
"""How long the station may be silent with the drive on, in s."""
GIVE_UP_S = 5.0
"""How long the watchdog tries to switch off and verify, in s."""

_RENEW_EVERY_S = 0.05
_START_TIMEOUT_S = 20.0
_ECHO_TIMEOUT_S = 2.0
"""A watchdog this late is no watchdog; more than a busy computer needs."""
_END_TIMEOUT_S = 2.0


class Lease(Protocol):
    """What a drive guard needs of a watchdog, or of what stands in for one."""

    @property
    def pid(self) -> int | None:
        """The process that watches; None if there is none."""
        ...

    def arm(self) -> None:
        """Tell that the drive is about to go on; returns when that is known. Raises `WatchdogLost`."""
        ...

    def renew(self) -> None:
        """Keep the lease; cheap, often. Raises `WatchdogLost`."""
        ...

    def disarm(self) -> None:
        """Tell that the drive is verified off. Never raises: a lost watchdog shows at the next `arm`."""
        ...

    def close(self) -> None:
        """End the watch: the drive is off and stays so."""
        ...

    def hand_over(self) -> bool:
        """Let the watchdog switch off, every link being closed; tell whether it could verify that."""
        ...


class NullWatchdog:
    """Stands in on benches of memory links: there is no port that another process could open."""

    pid = None

    def arm(self) -> None:
        """Do nothing."""

    def renew(self) -> None:
        """Do nothing."""

    def disarm(self) -> None:
        """Do nothing."""

    def close(self) -> None:
        """Do nothing."""

    def hand_over(self) -> bool:
        """Do nothing; nothing was switched off."""
        return False


class Watchdog:
    """A running watchdog process, child of this one. Make it with `start_watchdog`."""

    def __init__(self, process: "subprocess.Popen[bytes]", name: str) -> None:
        if process.stdin is None or process.stdout is None:
            raise ValueError("a watchdog needs pipes at both ends")
        self.pid = process.pid
        self._name = name
        self._process = process
        self._lease_out = process.stdin.fileno()
        self._echo_in = process.stdout.fileno()
        os.set_blocking(self._lease_out, False)
        os.set_blocking(self._echo_in, False)
        self._wait_for_echo = wait_for_input(self._echo_in)
        self._unanswered = 0
        self._answered_s = self._renewed_s = time.monotonic()

    def arm(self) -> None:
        """Tell that the drive is about to go on; returns when the watchdog has answered."""
        self._send(RENEWED)
        while self._unanswered:
            self._wait_for_echo(POLL_S)
            self._hear()

    def renew(self) -> None:
        """Keep the lease, at most each 0.05 s."""
        if time.monotonic() - self._renewed_s >= _RENEW_EVERY_S:
            self._send(RENEWED)

    def disarm(self) -> None:
        """Tell that the drive is verified off."""
        try:
            self._send(DRIVE_OFF)
        except WatchdogLost:
            # The drive is off: nothing is at risk, and the next `arm` tells.
            return

    def close(self) -> None:
        """End the watchdog. Harmless if it has ended already."""
        try:
            self._send(CLOSED)
        except WatchdogLost:
            self._process.kill()
        self._end(_END_TIMEOUT_S)

    def hand_over(self) -> bool:
        """Close the pipe without a word, so that the watchdog switches off; tell whether it verified that."""
        return self._end(GIVE_UP_S + _END_TIMEOUT_S) == 0

    def _send(self, word: bytes) -> None:
        try:
            os.write(self._lease_out, word)
        except OSError as error:
            raise self._lost("has ended" if isinstance(error, BrokenPipeError) else str(error)) from error
        now_s = self._renewed_s = time.monotonic()
        if not self._unanswered:
            self._answered_s = now_s
        self._unanswered += 1
        self._hear()

    def _hear(self) -> None:
        try:
            echo = os.read(self._echo_in, 65_536)
        except BlockingIOError:
            if time.monotonic() - self._answered_s > _ECHO_TIMEOUT_S:
                raise self._lost(f"has not answered for {_ECHO_TIMEOUT_S:g} s") from None
            return
        if not echo:
            raise self._lost("has ended")
        self._unanswered -= len(echo)
        self._answered_s = time.monotonic()

    def _lost(self, what: str) -> WatchdogLost:
        return WatchdogLost(
            f"{self._name}: asked to keep watch, its watchdog (pid {self.pid}) {what}. The drive goes off; "
            "close the bench and open it again."
        )

    def _end(self, timeout_s: float) -> int:
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                pipe.close()
        try:
            return self._process.wait(timeout_s)
        except subprocess.TimeoutExpired:
            self._process.kill()
            return self._process.wait()


def start_watchdog(order: Order, *, stop: StopToken, inherit: Sequence[int] = ()) -> Watchdog:
    """Start a watchdog for `order` and return when it is ready.

    Args:
        order: what it needs to know of the bench.
        stop: the wait gives way to it.
        inherit: descriptors it shares, such as the bench's lock.

    Raises:
        WatchdogLost: it did not start.
        Stopped: a stop came meanwhile; nothing is left running.
    """
    process = subprocess.Popen(
        [sys.executable, "-P", "-m", watchdog_process.__name__],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        bufsize=0,
        pass_fds=tuple(inherit),
        # Out of the terminal's group: Ctrl-C and a closed terminal are not for it.
        start_new_session=True,
        env={**os.environ, "PYTHONPATH": _search_path()},
    )
    try:
        _hand_order(process, order, stop)
        return Watchdog(process, order.bench)
    except BaseException:
        process.kill()
        process.communicate()
        raise


def _hand_order(process: "subprocess.Popen[bytes]", order: Order, stop: StopToken) -> None:
    if process.stdin is None or process.stdout is None:
        raise ValueError("a watchdog needs pipes at both ends")
    answer = b""
    try:
        process.stdin.write(order.to_line())
        wait, deadline_s = wait_for_input(process.stdout.fileno()), time.monotonic() + _START_TIMEOUT_S
        while not wait(POLL_S) and time.monotonic() < deadline_s:
            stop.check()
        if wait(0.0):
            answer = os.read(process.stdout.fileno(), 4096)
    except BrokenPipeError:
        pass  # it ended at once; the empty answer below says so
    if answer != READY:
        raise WatchdogLost(
            f"{order.bench}: its watchdog did not start: {answer[1:].decode(errors='replace')!r}. "
            "Nothing was opened; correct that, then retry."
        )


def _search_path() -> str:
    """Return where the child finds this very package, whatever folder it is started in."""
    package = str(Path(watchdog_process.__file__).parent.parent)
    return os.pathsep.join(each for each in (package, os.environ.get("PYTHONPATH", "")) if each)
