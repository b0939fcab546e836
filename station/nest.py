"""A nest's own thread: it opens the bench, carries out one piece of work at a time, and closes the bench.

Command line and pages use it alike. Only this thread touches links; whoever asks waits for the outcome, or is
told that the nest is busy.
"""

import queue
import threading
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import AbstractContextManager, ExitStack
from datetime import datetime
from types import TracebackType
from typing import Generic, TypeVar

from drivers.stop import POLL_S
from station.errors import NestBusy, StationError
from station.signals import stop_on_signals
from station.stop import NestStop

T = TypeVar("T")
B = TypeVar("B")
"""What the work is given: an open bench, or an inspection on one."""


class Nest(Generic[B]):
    """One thread with one open bench. A context manager; leaving it stops the work and closes the bench."""

    def __init__(
        self, open_bench: Callable[[NestStop], AbstractContextManager[B]], *, stop: NestStop | None = None
    ) -> None:
        """Prepare a nest.

        Args:
            open_bench: makes the bench (not entered yet) with the token it is given. Called in the nest's
                thread, so a manual clock made in it belongs to that thread.
            stop: the session's stop token.
        """
        self.stop = stop or NestStop()
        self._open_bench = open_bench
        self._work: queue.SimpleQueue[Callable[[B], None] | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._serve, name="nest")
        self._opened: Future[B] = Future()
        self._closed: Future[None] = Future()
        self._turn = threading.Lock()
        self._busy_with = ""
        self._signals = ExitStack()

    def __enter__(self) -> "Nest[B]":
        """Start the thread and open the bench; raises what `OpenBench` raises on opening."""
        self._signals.enter_context(stop_on_signals(self.stop))
        self._thread.start()
        try:
            _wait_for(self._opened)
        except BaseException:
            self._leave()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Stop the work under way, close the bench, end the thread. Raises what closing raises."""
        if self._busy_with:
            self.stop.set("the station is closing")
        self._leave()
        self._closed.result()

    @property
    def busy_with(self) -> str:
        """Return what is under way and since when; empty if nothing is."""
        return self._busy_with

    def submit(self, work: Callable[[B], T], *, what: str) -> "Future[T]":
        """Hand `work` to the nest's thread and return at once. `what` names it to whoever finds it busy.

        A stop asked for before is forgotten, unless the session was asked to end.

        Raises:
            NestBusy: something is under way; nothing is queued.
            StationError: the session is ending or the bench is closed.
        """
        if not self._turn.acquire(blocking=False):
            raise NestBusy(f"The nest is busy with {self._busy_with}. Ask again when it has ended.")
        if self.stop.ended or not self._thread.is_alive():
            self._turn.release()
            raise StationError(f"The nest is closing ({self.stop.reason or 'closed'}): {what} was not begun.")
        self.stop.clear()
        self._busy_with = f"{what} since {datetime.now().astimezone().isoformat(' ', 'seconds')}"
        outcome: Future[T] = Future()
        self._work.put(lambda bench: self._carry_out(work, bench, outcome))
        return outcome

    def run(self, work: Callable[[B], T], *, what: str) -> T:
        """Hand `work` to the nest's thread, return its outcome; raises what it raises, and `NestBusy`."""
        return _wait_for(self.submit(work, what=what))

    def request_stop(self, reason: str) -> None:
        """Ask the work under way to stop; the drive goes off on its way out. From any thread, any time.

        CAUTION: this is no emergency stop; the hand-operated one cuts the drive without software.
        """
        self.stop.set(reason)

    def _carry_out(self, work: Callable[[B], T], bench: B, outcome: "Future[T]") -> None:
        try:
            result = work(bench)
        except BaseException as error:
            self._free()
            outcome.set_exception(error)
        else:
            self._free()
            outcome.set_result(result)

    def _free(self) -> None:
        """Let the next one in; before the outcome is told, so that whoever waited for it may ask again."""
        self._busy_with = ""
        self._turn.release()

    def _serve(self) -> None:
        try:
            with self._open_bench(self.stop) as bench:
                self._opened.set_result(bench)
                while (work := self._work.get()) is not None:
                    work(bench)
        except BaseException as error:
            if not self._opened.done():
                self._opened.set_exception(error)
                self._closed.set_result(None)
            else:
                self._closed.set_exception(error)
        else:
            self._closed.set_result(None)

    def _leave(self) -> None:
        self._work.put(None)
        self._thread.join()
        self._signals.close()


def _wait_for(outcome: "Future[T]") -> T:
    """Return the outcome. In slices, so that the main thread gets to its signal handlers."""
    while True:
        try:
            return outcome.result(timeout=POLL_S)
        except TimeoutError:
            if outcome.done():
                return outcome.result()
