"""The machine's end of a simulated line: a TCP port for one client, or a pseudo-terminal."""

import os
import selectors
import socket
import tty
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from sim.instrument import SimulatedInstrument

CHUNK_BYTES = 65_536
OUTBOX_LIMIT = 1_048_576
"""Bytes kept for a client who does not read; what comes on top is lost."""


class SelectedPort(Protocol):
    """What the loop needs of a line."""

    instrument: SimulatedInstrument
    address: str

    def send(self, data: bytes) -> None:
        """Send bytes to the client, now or as soon as it takes them."""
        ...

    def hang_up(self, now_s: float) -> None:
        """Close the connection from the instrument's side."""
        ...

    def close(self) -> None:
        """Let everything go."""
        ...


Ready = Callable[[int], None]
"""What the loop calls with the selector's event mask."""


class TcpPort:
    """Listens on a free port of 127.0.0.1; a second client is turned away while there is one."""

    def __init__(
        self, instrument: SimulatedInstrument, selector: selectors.BaseSelector, clock_s: Callable[[], float]
    ) -> None:
        self.instrument = instrument
        self._selector = selector
        self._clock_s = clock_s
        self._client: socket.socket | None = None
        self._outbox = b""
        self._closing = False
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.setblocking(False)
        self.port: int = self._listener.getsockname()[1]
        self.address = f"TCPIP::127.0.0.1::{self.port}::SOCKET"
        selector.register(self._listener, selectors.EVENT_READ, self._accept)

    def send(self, data: bytes) -> None:
        """Send bytes to the client; without one they are lost."""
        if self._client is None or len(self._outbox) > OUTBOX_LIMIT:
            return
        self._outbox += data
        self._flush()

    def hang_up(self, now_s: float) -> None:
        """Close the connection once everything is sent."""
        self._closing = True
        self._flush()

    def close(self) -> None:
        """Let the client and the port go."""
        self._drop()
        self._selector.unregister(self._listener)
        self._listener.close()

    def _accept(self, mask: int) -> None:
        try:
            client, _ = self._listener.accept()
        except OSError:
            return
        if self._client is not None:
            self._serve(selectors.EVENT_READ)  # perhaps the first one has just gone
        if self._client is not None:
            client.close()
            return
        client.setblocking(False)
        client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._client, self._outbox, self._closing = client, b"", False
        self._selector.register(client, selectors.EVENT_READ, self._serve)
        self.instrument.connect(self._clock_s())

    def _serve(self, mask: int) -> None:
        if mask & selectors.EVENT_WRITE:
            self._flush()
        client = self._client
        if client is None or not mask & selectors.EVENT_READ:
            return
        try:
            data = client.recv(CHUNK_BYTES)
        except BlockingIOError:
            return
        except OSError:
            data = b""
        if data:
            self.instrument.receive(data, self._clock_s())
        else:
            self._drop()

    def _flush(self) -> None:
        client = self._client
        if client is None:
            return
        try:
            self._outbox = self._outbox[client.send(self._outbox) :] if self._outbox else b""
        except BlockingIOError:
            pass
        except OSError:
            self._drop()
            return
        if self._closing and not self._outbox:
            self._drop()
            return
        wanted = selectors.EVENT_READ | (selectors.EVENT_WRITE if self._outbox else 0)
        if self._selector.get_key(client).events != wanted:
            self._selector.modify(client, wanted, self._serve)

    def _drop(self) -> None:
        client, self._client = self._client, None
        if client is None:
            return
        self._selector.unregister(client)
        client.close()
        self.instrument.disconnect(self._clock_s())


class TerminalPort:
    """A pseudo-terminal in raw mode under a name that stays: `address` points at `directory / name`.

    It cannot see a client come and go, so the instrument counts as connected all the time, as on a real
    serial line. Its own slave end stays open: without it the master end reads EIO when no client is there.
    To hang up it takes the terminal away and puts a new one under the same name (an adapter pulled and put
    back).
    """

    def __init__(
        self,
        instrument: SimulatedInstrument,
        selector: selectors.BaseSelector,
        clock_s: Callable[[], float],
        directory: Path,
    ) -> None:
        self.instrument = instrument
        self.path = directory / instrument.name
        self.address = f"ASRL{self.path}::INSTR"
        self._selector = selector
        self._clock_s = clock_s
        self._master = self._slave = -1
        self._outbox = b""
        self._open()

    def send(self, data: bytes) -> None:
        """Send a message as the line takes it.

        One that comes while another still waits for a reader is lost, as on a line without flow control.
        """
        if not self._outbox:
            self._outbox = data
            self._flush()

    def hang_up(self, now_s: float) -> None:
        """Take the terminal away and put a new one in its place.

        The new one is there before the old one goes: a client that sees its line close may open it at once.
        """
        self.instrument.disconnect(now_s)
        old = (self._master, self._slave)
        self._open()
        self._shut(*old)

    def close(self) -> None:
        """Take the terminal away for good."""
        self._shut(self._master, self._slave)
        self.path.unlink(missing_ok=True)

    def _open(self) -> None:
        self._master, self._slave = os.openpty()
        self._outbox = b""
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        fresh = self.path.with_suffix(".new")
        fresh.symlink_to(os.ttyname(self._slave))
        fresh.replace(self.path)
        self._selector.register(self._master, selectors.EVENT_READ, self._serve)
        self.instrument.connect(self._clock_s())

    def _shut(self, master: int, slave: int) -> None:
        self._selector.unregister(master)
        os.close(master)
        os.close(slave)

    def _flush(self) -> None:
        try:
            self._outbox = self._outbox[os.write(self._master, self._outbox) :]
        except BlockingIOError:
            pass
        except OSError:
            self._outbox = b""
        wanted = selectors.EVENT_READ | (selectors.EVENT_WRITE if self._outbox else 0)
        if self._selector.get_key(self._master).events != wanted:
            self._selector.modify(self._master, wanted, self._serve)

    def _serve(self, mask: int) -> None:
        if mask & selectors.EVENT_WRITE and self._outbox:
            self._flush()
        try:
            data = os.read(self._master, CHUNK_BYTES)
        except OSError:
            return
        if data:
            self.instrument.receive(data, self._clock_s())
