"""Signals and broken output pipes only ask for a stop: the way out stays the usual one, which ends in "off".

While a bench is open there is no `KeyboardInterrupt`: it could strike inside the very code that switches off.
"""

import os
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import TextIO

from station.stop import NestStop

STOP_SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGTSTP)
"""Ctrl-C, `kill`, a closed terminal, Ctrl-Z: a station that is suspended could not look after its drive."""


@contextmanager
def stop_on_signals(stop: NestStop) -> Iterator[None]:
    """While open, the signals of `STOP_SIGNALS` only end the session by `stop`; a second one changes nothing.

    A SIGHUP that is ignored already stays so: that is how `nohup` asks to outlive the terminal. The former
    handlers come back afterwards. SIGPIPE is ignored meanwhile, so that a closed socket or pipe is
    an error of the call that met it. In any thread but the main one nothing is installed: Python delivers
    signals, and `KeyboardInterrupt`, to the main thread only, and whoever has that thread calls this there.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def ask(number: int, _frame: FrameType | None) -> None:
        stop.end(f"stopped by signal {signal.Signals(number).name}")

    wanted = [each for each in STOP_SIGNALS if not _outlives_terminal(each)]
    former = {each: signal.signal(each, ask) for each in wanted}
    former[signal.SIGPIPE] = signal.signal(signal.SIGPIPE, signal.SIG_IGN)
    try:
        yield
    finally:
        for each, handler in former.items():
            # None: installed by something other than Python, which cannot be put back from here.
            signal.signal(each, signal.SIG_DFL if handler is None else handler)


def _outlives_terminal(number: signal.Signals) -> bool:
    return number is signal.SIGHUP and signal.getsignal(number) is signal.SIG_IGN


class StoppingStream:
    """A text stream whose reader may go away: that ends the session, and never raises into a run.

    After the break everything written is thrown away, and the descriptor leads nowhere, so that the
    interpreter's own flush at exit stays silent.
    """

    def __init__(self, stream: TextIO, stop: NestStop) -> None:
        self._stream = stream
        self._stop = stop
        self._broken = False

    def write(self, text: str) -> int:
        """Write `text`; returns its length, also after the break."""
        if not self._broken:
            try:
                return self._stream.write(text)
            except BrokenPipeError:
                self._break()
        return len(text)

    def flush(self) -> None:
        """Flush what was written."""
        if not self._broken:
            try:
                self._stream.flush()
            except BrokenPipeError:
                self._break()

    def isatty(self) -> bool:
        """Tell whether a person looks at it."""
        return self._stream.isatty()

    def fileno(self) -> int:
        """Return the descriptor below."""
        return self._stream.fileno()

    @property
    def encoding(self) -> str:
        """Return the encoding of the stream below."""
        return self._stream.encoding

    @property
    def errors(self) -> str | None:
        """Return how the stream below treats what it cannot encode."""
        return self._stream.errors

    def _break(self) -> None:
        self._broken = True
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, self._stream.fileno())
        os.close(nowhere)
        self._stop.end("stopped: the reader of the output has gone")


@contextmanager
def stop_on_broken_output(stop: NestStop) -> Iterator[None]:
    """While open, output whose reader goes away ends the session by `stop`."""
    former = sys.stdout, sys.stderr
    sys.stdout = StoppingStream(former[0], stop)
    sys.stderr = StoppingStream(former[1], stop)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = former
