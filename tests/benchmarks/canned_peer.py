"""An other end that answers each message with the same bytes, in a process of its own."""

import os
import select
import socket
import sys
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from subprocess import PIPE, Popen

QUERY = b"FETC?\n"
REPLY = b"+2.87654E-05,+7.81234E+00,+0\r\n"
"""30 bytes, as an LCR meter answers."""


@contextmanager
def canned_tcp() -> Iterator[int]:
    """Serve on a TCP port; gives its number."""
    with _served("tcp") as told:
        yield int(told)


@contextmanager
def canned_pty() -> Iterator[str]:
    """Serve on a pseudo-terminal; gives its device."""
    with _served("pty") as told:
        yield told


@contextmanager
def _served(kind: str) -> Iterator[str]:
    command = [sys.executable, "-m", "tests.benchmarks.canned_peer", kind]
    with Popen(command, stdin=PIPE, stdout=PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdin is not None
        try:
            yield process.stdout.readline().strip()
        finally:
            # The end of its input is its sign to stop.
            process.stdin.close()
            process.wait(10)


def _serve_tcp() -> None:
    listener = socket.create_server(("127.0.0.1", 0))
    print(listener.getsockname()[1], flush=True)
    poller, clients = select.poll(), {}
    poller.register(sys.stdin, select.POLLIN)
    poller.register(listener, select.POLLIN)
    while True:
        for descriptor, _ in poller.poll():
            if descriptor == sys.stdin.fileno():
                return
            if descriptor == listener.fileno():
                client, _ = listener.accept()
                client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                clients[client.fileno()] = client
                poller.register(client, select.POLLIN)
            elif clients[descriptor].recv(4096):
                clients[descriptor].sendall(REPLY)
            else:
                poller.unregister(descriptor)
                clients.pop(descriptor).close()


def _serve_pty() -> None:
    master, slave = os.openpty()
    tty.setraw(slave)
    print(os.ttyname(slave), flush=True)
    poller = select.poll()
    poller.register(sys.stdin, select.POLLIN)
    poller.register(master, select.POLLIN)
    while True:
        for descriptor, _ in poller.poll():
            if descriptor == sys.stdin.fileno():
                return
            os.read(master, 4096)
            os.write(master, REPLY)


if __name__ == "__main__":
    {"tcp": _serve_tcp, "pty": _serve_pty}[sys.argv[1]]()
