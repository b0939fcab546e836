"""One query by each route against the same bytes on a bare port: `python -m tests.benchmarks.bench_links`.

The guards of a session are: look for unasked input, write, read, keep in step; on a traced link.
"""

import os
import socket
import termios
import tty
from collections.abc import Callable
from contextlib import ExitStack

from drivers.clock import RealClock
from drivers.dialects import Wire
from drivers.link import Link
from drivers.links.open import open_link
from drivers.session import Exchange
from drivers.traced import TracedLink, Transcript
from tests.benchmarks.canned_peer import QUERY, REPLY, canned_pty, canned_tcp
from tests.benchmarks.ratios import compare, show

CALLS = 300
TERMINATOR = b"\r\n"
TCP_GOALS = {"socket link": 1.6, "socket link, session's guards": 2.2, "VISA link": 3.0}
PTY_GOALS = {"serial link": 2.0, "serial link, session's guards": 2.0}


def _query(link: Link) -> Callable[[], object]:
    def query() -> bytes:
        link.write(QUERY)
        return link.read_until(TERMINATOR, timeout=2.0)

    return query


def _guarded(link: Link) -> Callable[[], object]:
    """Return the query as a driver asks it: through a session's exchange, over a traced link."""
    traced = TracedLink(link, Transcript(), clock=RealClock(), instrument="lcr-1")
    wire = Wire(terminator_out=b"\n", terminator_in=TERMINATOR, timeout_s=2.0, quiet_s=0.05)
    exchange, message = Exchange(traced, wire), QUERY.rstrip()
    return lambda: exchange.ask(message)


def _raw_socket(port: int) -> tuple[socket.socket, Callable[[], object]]:
    sock = socket.create_connection(("127.0.0.1", port))
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def query() -> bytes:
        sock.sendall(QUERY)
        came = b""
        while not came.endswith(TERMINATOR):
            came += sock.recv(4096)
        return came

    return sock, query


def _raw_terminal(device: str) -> tuple[int, Callable[[], object]]:
    terminal = os.open(device, os.O_RDWR | os.O_NOCTTY)
    tty.setraw(terminal, termios.TCSANOW)

    def query() -> bytes:
        os.write(terminal, QUERY)
        came = b""
        while not came.endswith(TERMINATOR):
            came += os.read(terminal, 4096)
        return came

    return terminal, query


def _compare_tcp() -> str:
    with ExitStack() as stack:
        port = stack.enter_context(canned_tcp())
        address = f"TCPIP::127.0.0.1::{port}::SOCKET"
        sock, raw = _raw_socket(port)
        stack.callback(sock.close)
        links = [open_link(address, name="lcr-1", via=via) for via in ("socket", "socket", "visa", "visa")]
        for link in links:
            stack.callback(link.close)
        sides = {
            "bare socket": raw,
            "socket link": _query(links[0]),
            "socket link, session's guards": _guarded(links[1]),
            "VISA link": _query(links[2]),
            "VISA link, session's guards": _guarded(links[3]),
        }
        return show(f"one query by TCP, {len(REPLY)} bytes", compare(sides, calls=CALLS), goals=TCP_GOALS)


def _compare_pty() -> str:
    # Each side its own terminal: a link takes its port for itself.
    with ExitStack() as stack:
        terminal, raw = _raw_terminal(stack.enter_context(canned_pty()))
        stack.callback(os.close, terminal)
        links = [
            open_link(f"ASRL{stack.enter_context(canned_pty())}::INSTR", name="fixture-1", via=via)
            for via in ("serial", "serial", "visa")
        ]
        for link in links:
            stack.callback(link.close)
        sides = {
            "bare pseudo-terminal": raw,
            "serial link": _query(links[0]),
            "serial link, session's guards": _guarded(links[1]),
            "VISA link": _query(links[2]),
        }
        return show(f"one query by serial, {len(REPLY)} bytes", compare(sides, calls=CALLS), goals=PTY_GOALS)


def main() -> None:
    """Print both comparisons."""
    print(_compare_tcp())
    print(_compare_pty())


if __name__ == "__main__":
    main()
