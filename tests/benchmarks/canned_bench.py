"""The four instruments of a bench as canned replies, in a process of their own: nothing takes time in it.

As little state as a unit needs to come out right: route, height, output, function. Each serial instrument has two
pseudo-terminals with the same other end, since a link takes its port for itself.
"""

import binascii
import json
import os
import select
import socket
import sys
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from subprocess import PIPE, Popen

RAW = " raw"
"""Ends the name of the second terminal of a serial instrument."""

_FIELD_NT = {"1000": 605_000, "2000": 420_000, "4000": 196_000, "8000": 54_000}
_SIGN = {"FWD": 1, "REV": -1}
_LCR = {"RDC": b"+8.00000E+00,+0.00000E+00,+0\n", "LSRS": b"+1.16500E-05,+8.02000E+00,+0\n"}
_OVERLOAD = b"+9.90000E+37,+9.90000E+37,+1\n"
_NO_ERROR = b'0,"No error"\n'


class CannedInstruments:
    """What each instrument answers to a message without its terminator; None for nothing."""

    def __init__(self) -> None:
        self._route, self._height, self._output, self._function = "OPEN", "20000", b"0", "RDC"
        self._settings: dict[bytes, bytes] = {}
        self.handlers: dict[str, tuple[bytes, Callable[[bytes], bytes | None]]] = {
            "lcr-1": (b"\n", self._lcr),
            "source-1": (b"\n", self._source),
            "fixture-1": (b"\n", self._fixture),
            "thermometer-1": (b"\r", self._thermometer),
        }

    def _scpi(self, line: bytes, model: str) -> bytes | None:
        if line == b"SYST:ERR?":
            return _NO_ERROR
        if line == b"*IDN?":
            return f"INVENTED,{model},{model.replace('-', '')}001,1.0\n".encode()
        header, _, argument = line.partition(b" ")
        if header.endswith(b"?"):
            return b"%s\n" % self._settings.get(header[:-1], b"0")
        self._settings[header] = argument
        return None

    def _lcr(self, line: bytes) -> bytes | None:
        if line == b"FETC?":
            return _LCR[self._function] if self._route == "LCR" else _OVERLOAD
        if line.startswith(b"FUNC "):
            self._function = line[5:].decode()
        return self._scpi(line, "LCR-A")

    def _source(self, line: bytes) -> bytes | None:
        if line == b"OUTP?":
            return self._output + b"\n"
        if line == b"MEAS:CURR?":
            return b"+1.00000E-01\n" if self._output == b"1" else b"+1.00000E-06\n"
        if line.startswith(b"OUTP "):
            self._output = line[5:]
        return self._scpi(line, "SRC-1")

    def _fixture(self, line: bytes) -> bytes | None:
        number, command, *argument = line.partition(b"*")[0][1:].decode().split()
        body = f"<{number} OK LG-E-{self._fields(command, *argument)}".encode()
        return b"%s*%04X\n" % (body, binascii.crc_hqx(body, 0xFFFF))

    def _fields(self, command: str, argument: str = "") -> str:
        match command:
            case "ID":
                return " INVENTED FIX-1 FIX1001 1.0"
            case "ROUTE":
                self._route = argument
                return f" {argument}"
            case "STATE":
                return f" {self._route} {self._height} 7"
            case "HEIGHT" | "RETRACT":
                self._height = argument or "20000"
                return f" {self._height}"
            case "CONTACT":
                return " 6000 6000"
            case "FIELD":
                return f" {_SIGN.get(self._route, 0) * _FIELD_NT.get(self._height, 0)} V"
        return ""

    def _thermometer(self, line: bytes) -> bytes | None:
        return {b"T?": b"+020.000,+020.000\r\n", b"ID?": b"INVENTED,TH-P,THP001,1.0\r\n"}.get(line)


@contextmanager
def canned_bench() -> Iterator[dict[str, str]]:
    """Serve while open; gives the TCP port or the device of each instrument by name."""
    command = [sys.executable, "-m", "tests.benchmarks.canned_bench"]
    with Popen(command, stdin=PIPE, stdout=PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdin is not None
        try:
            yield json.loads(process.stdout.readline())
        finally:
            # The end of its input is its sign to stop.
            process.stdin.close()
            process.wait(10)


class _Line:
    """One connection: collects bytes, answers each message that is complete."""

    def __init__(
        self, descriptor: int, terminator: bytes, handler: Callable[[bytes], bytes | None]
    ) -> None:
        self._descriptor, self._terminator, self._handler = descriptor, terminator, handler
        self._buffer = b""

    def ready(self) -> bool:
        """Take what has come and answer it; False if the other end has gone."""
        data = os.read(self._descriptor, 4096)
        *lines, self._buffer = (self._buffer + data).split(self._terminator)
        replies = [reply for line in lines if line and (reply := self._handler(line))]
        if replies:
            os.write(self._descriptor, b"".join(replies))
        return bool(data)


def _serve() -> None:
    handlers = CannedInstruments().handlers
    addresses: dict[str, str] = {}
    listeners: dict[int, tuple[socket.socket, str]] = {}
    lines: dict[int, _Line] = {}
    clients: dict[int, socket.socket] = {}
    poller = select.poll()
    for name in ("lcr-1", "source-1"):
        listener = socket.create_server(("127.0.0.1", 0))
        listeners[listener.fileno()] = listener, name
        addresses[name] = str(listener.getsockname()[1])
    for name in ("fixture-1", "thermometer-1"):
        for suffix in ("", RAW):
            master, slave = os.openpty()
            tty.setraw(slave)
            lines[master] = _Line(master, *handlers[name])
            addresses[name + suffix] = os.ttyname(slave)
    for descriptor in (*listeners, *lines, sys.stdin.fileno()):
        poller.register(descriptor, select.POLLIN)
    print(json.dumps(addresses), flush=True)
    while True:
        for descriptor, _ in poller.poll():
            if descriptor == sys.stdin.fileno():
                return
            if descriptor in listeners:
                listener, name = listeners[descriptor]
                client, _ = listener.accept()
                client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                clients[client.fileno()] = client
                lines[client.fileno()] = _Line(client.fileno(), *handlers[name])
                poller.register(client, select.POLLIN)
            elif not lines[descriptor].ready():
                poller.unregister(descriptor)
                del lines[descriptor]
                clients.pop(descriptor).close()


if __name__ == "__main__":
    _serve()
