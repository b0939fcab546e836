"""Instruments behind TCP ports and pseudo-terminals, served by one loop in one thread.

The loop alone touches the instruments and their world. Real time drives it, sped up as its clock says.
"""

import selectors
import socket
import tempfile
import threading
import time
from collections import deque
from collections.abc import Callable, Collection, Mapping
from concurrent.futures import Future
from math import inf
from pathlib import Path
from types import TracebackType
from typing import TypeVar

from drivers.clock import RealClock
from sim.hosts.ports import SelectedPort, TcpPort, TerminalPort
from sim.hosts.schedule import Schedule
from sim.instrument import Emission, SimulatedInstrument

Answer = TypeVar("Answer")

SHORT_WAIT_S = 0.0015
"""Waits below this are slept in small steps, in s: a selector rounds up to whole milliseconds."""

STEP_S = 0.0002


class NetworkHost:
    """Serves each instrument on a line of its own until closed; use as a context manager.

    `serial` names the instruments that get a pseudo-terminal, the others get a TCP port. `addresses` says
    where everybody is, as VISA writes it.
    """

    def __init__(
        self,
        instruments: Mapping[str, SimulatedInstrument],
        clock: RealClock,
        *,
        serial: Collection[str] = (),
    ) -> None:
        self.clock = clock
        self._selector = selectors.DefaultSelector()
        self._directory = tempfile.TemporaryDirectory(prefix="coilgate-bench-")
        self._ports: dict[str, SelectedPort] = {}
        self._schedule = Schedule(instruments.values(), self._deliver)
        self._questions: deque[Callable[[], None]] = deque()
        self._failure: BaseException | None = None
        self._stopping = False
        self._advancing = False
        self._wake_out, self._wake_in = socket.socketpair()
        self._wake_out.setblocking(False)
        self._selector.register(self._wake_out, selectors.EVENT_READ, self._woken)
        for name, instrument in instruments.items():
            self._ports[name] = self._port(instrument, as_terminal=name in serial)
        self.addresses = {name: port.address for name, port in self._ports.items()}
        self._thread = threading.Thread(target=self._run, name="simulated bench", daemon=True)
        self._thread.start()

    def __enter__(self) -> "NetworkHost":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def ask(self, question: Callable[[], Answer]) -> Answer:
        """Have the loop's thread call `question`, the safe way to look at the world; return the answer."""
        future: Future[Answer] = Future()

        def answer() -> None:
            try:
                future.set_result(question())
            except BaseException as error:
                future.set_exception(error)

        self._questions.append(answer)
        self._wake_in.send(b"?")
        return future.result(timeout=10.0)

    def close(self) -> None:
        """Stop serving and let every port go. Raises what ended the loop, if an instrument broke it.

        Closing twice is harmless.
        """
        if self._stopping:
            return
        self._stopping = True
        self._wake_in.send(b".")
        self._thread.join()
        self._selector.close()
        self._wake_in.close()
        self._wake_out.close()
        self._directory.cleanup()
        if self._failure is not None:
            raise self._failure

    def _port(self, instrument: SimulatedInstrument, *, as_terminal: bool) -> SelectedPort:
        now = self._advanced_s
        if as_terminal:
            return TerminalPort(instrument, self._selector, now, Path(self._directory.name))
        return TcpPort(instrument, self._selector, now)

    def _advanced_s(self) -> float:
        """Return the time, after everything that is due by then has happened.

        A port that closes while events are being delivered asks again: it gets the time only.
        """
        now_s = self.clock.monotonic()
        if not self._advancing:
            self._advancing = True
            self._schedule.note_all()  # ports talk to their instruments by themselves
            self._schedule.run_to(now_s)
            self._advancing = False
        return now_s

    def _deliver(self, instrument: SimulatedInstrument, emission: Emission) -> None:
        port = self._ports.get(instrument.name)
        if port is None:
            return
        if emission.data:
            port.send(emission.data)
        if emission.hang_up:
            port.hang_up(emission.time_s)

    def _run(self) -> None:
        try:
            while not self._stopping:
                self._turn()
        except BaseException as error:
            self._failure = error
        finally:
            # In the loop's own thread, also when an instrument broke it: clients see their lines close.
            self._advancing = True
            for port in self._ports.values():
                port.close()

    def _turn(self) -> None:
        now_s = self._advanced_s()
        due_s = self._schedule.earliest_s
        wait_s = None if due_s == inf else max(0.0, (due_s - now_s) / self.clock.speed)
        if wait_s is not None and wait_s < SHORT_WAIT_S:
            events = self._selector.select(0)
            if not events:
                time.sleep(min(wait_s, STEP_S))
        else:
            events = self._selector.select(wait_s)
        for key, mask in events:
            # A handler before it may have closed this line, and its descriptor may be another's by now.
            registered = self._selector.get_map().get(key.fd)
            if registered is not None and registered.fileobj is key.fileobj:
                key.data(mask)

    def _woken(self, mask: int) -> None:
        self._wake_out.recv(4096)
        while self._questions:
            self._advanced_s()
            self._questions.popleft()()
