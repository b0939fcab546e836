"""One query by each route against the same bytes on a bare port: `python -m tests.benchmarks.bench_links`.

The guards are: look for unasked input, keep in step, tend the drive, record each message.
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
from station.drive import DriveGuard
from station.guarded import GuardedLink
from station.stop import NestStop
from station.watchdog import NullWatchdog
from tests.benchmarks.canned_peer import QUERY, REPLY, canned_pty, canned_tcp
from tests.benchmarks.ratios import Timed, compare, show
from tests.benchmarks.table import Line, ratio_line

CALLS = 300
TERMINATOR = b"\r\n"
TCP_GOALS = {"socket link, all guards": 2.2, "VISA link, all guards": 3.0}
PTY_GOALS = {"serial link, all guards": 2.0}


def _query(link: Link) -> Callable[[], object]:
    def query() -> bytes:
        link.write(QUERY)
        return link.read_until(TERMINATOR, timeout=2.0)

    return query


def _guarded(link: Link) -> Callable[[], object]:
    """Return the query as a driver of an open bench asks it: exchange, drive's guard, transcript."""
    clock = RealClock()
    guard = DriveGuard(NullWatchdog(), stop=NestStop(), clock=clock, on_not_off=lambda words: None)
    traced = TracedLink(link, Transcript(), clock=clock, instrument="lcr-1")
    wire = Wire(terminator_out=b"\n", terminator_in=TERMINATOR, timeout_s=2.0, quiet_s=0.05)
    exchange, message = Exchange(GuardedLink(traced, guard), wire), QUERY.rstrip()
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


def compare_tcp() -> list[Timed]:
    """Time one query by TCP on each side; the bare socket first."""
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
            "socket link, all guards": _guarded(links[1]),
            "VISA link": _query(links[2]),
            "VISA link, all guards": _guarded(links[3]),
        }
        return compare(sides, calls=CALLS)


def compare_pty() -> list[Timed]:
    """Time one query by serial on each side; the bare terminal first."""
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
            "serial link, all guards": _guarded(links[1]),
            "VISA link": _query(links[2]),
        }
        return compare(sides, calls=CALLS)


def lines() -> list[Line]:
    """Return the lines of the table: what has a goal."""
    found = []
    for timed, goals in ((compare_tcp(), TCP_GOALS), (compare_pty(), PTY_GOALS)):
        wanted = [each for each in timed if each.name in goals]
        found += [ratio_line(f"a query: {each.name}", each, timed[0].name, goals[each.name]) for each in wanted]
    return found


def main() -> None:
    """Print both comparisons."""
    size = f"{len(REPLY)} bytes"
    print(show(f"one query by TCP, {size}", compare_tcp(), goals=TCP_GOALS))
    print(show(f"one query by serial, {size}", compare_pty(), goals=PTY_GOALS))


if __name__ == "__main__":
    main()
