"""The watchdog: a process of its own that switches the drive off when the station dies or hangs.

Run as `python -m station.watchdog_process` by `station.watchdog`, before any link is open. Standard input has
one line of JSON (`Order`), then single bytes of the lease: `1` renewed with the drive on, `0` drive off, `q`
the bench was closed in order. Each byte read is echoed on standard output, so that the station sees that
somebody watches.

- End of input without `q`: the station died. Open the source's address, switch off, verify.
- No byte for `lease_s` with the drive on: the station hangs. Kill it, which frees the port, then the same.

A source takes one client, so nothing is open until then. If off can't be verified within `give_up_s`, the
bench is latched: drive state unknown. This is an aid and no safety function: whoever works at the bench needs
a hand-operated stop that cuts the drive without software.
"""

import json
import os
import select
import signal
import sys
import time
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path

from drivers.dialects import SourceDialect, read_dialect
from drivers.errors import InstrumentError
from drivers.link import Link
from drivers.links.open import Via, find_route, open_link
from drivers.source import off_bytes, off_queries, off_verified
from station.drive_state import UNKNOWN, DriveState

READY, REFUSED = b"r", b"x"
"""What it answers once the order is understood; `x` is followed by why it is not."""
RENEWED, DRIVE_OFF, CLOSED = b"1", b"0", b"q"

_IGNORED = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGTSTP, signal.SIGPIPE)
_PAUSE_S = 0.05
_LONGEST_DISCARD_S = 0.2


@dataclass(frozen=True, slots=True)
class Order:
    """All that the watchdog knows. Times in s of real time."""

    bench: str
    name: str
    address: str
    via: str
    baud: int
    dialect_name: str
    dialect_text: str
    """The source's dialect file: off bytes, and the queries that prove it."""
    station_pid: int
    home: str
    lease_s: float
    give_up_s: float

    def to_line(self) -> bytes:
        """Return the order as one line of JSON."""
        return json.dumps(asdict(self)).encode() + b"\n"


def read_order(descriptor: int) -> tuple[Order, bytes]:
    """Read the order, and what came behind it, from `descriptor`.

    Raises:
        EOFError: the station ended before the order was complete: no link was open yet.
        ValueError, TypeError, KeyError: not an order.
    """
    data = b""
    while b"\n" not in data:
        chunk = os.read(descriptor, 65_536)
        if not chunk:
            raise EOFError("no complete order")
        data += chunk
    line, rest = data.split(b"\n", 1)
    return Order(**json.loads(line)), rest


def watch(order: Order, waiting: bytes, *, lease_in: int = 0, echo_out: int = 1) -> str:
    """Keep the lease until it ends; return why the drive must go off, empty if the bench was closed."""
    drive_on = False
    data = waiting
    while True:
        if data:
            if CLOSED in data:
                return ""
            drive_on = data[-1:] == RENEWED
            _echo(echo_out, data)
        ready, _, _ = select.select([lease_in], [], [], order.lease_s if drive_on else None)
        if not ready:
            return _kill(order)
        data = os.read(lease_in, 4096)
        if not data:
            return "the station ended"


def make_safe(order: Order, dialect: SourceDialect) -> str:
    """Switch off and verify, again and again for `give_up_s`; return the trouble, empty if it is off."""
    deadline_s = time.monotonic() + order.give_up_s
    while True:
        try:
            if _switch_off(order, dialect, deadline_s):
                return ""
            trouble = "the output or its current stayed on"
        except InstrumentError as error:
            trouble = str(error)
        if time.monotonic() >= deadline_s:
            return trouble
        time.sleep(_PAUSE_S)


def main() -> int:
    """Watch one bench; the exit code is 0 if the drive is off or nothing was asked for."""
    for each in _IGNORED:
        signal.signal(each, signal.SIG_IGN)
    try:
        order, waiting = read_order(0)
    except EOFError:
        return 0
    try:
        dialect = _source_dialect(order)
        _import_route(order)
    except (ImportError, ValueError) as error:
        os.write(1, REFUSED + str(error).encode())
        return 2
    os.write(1, READY)
    why = watch(order, waiting)
    if not why:
        return 0
    trouble = make_safe(order, dialect)
    _leave_word(order, why, trouble)
    return 1 if trouble else 0


def _source_dialect(order: Order) -> SourceDialect:
    dialect = read_dialect(order.dialect_text, order.dialect_name)
    if not isinstance(dialect, SourceDialect):
        raise ValueError(f"{order.dialect_name} must be a source's dialect; got that of a {dialect.kind}")
    return dialect


def _import_route(order: Order) -> None:
    """Import what the address needs now, not when the drive must go off."""
    via = find_route(order.address, via=order.via).via
    if via is Via.SOCKET:
        import drivers.links.socket
    elif via is Via.SERIAL:
        import drivers.links.serial
    else:
        import drivers.links.visa  # noqa: F401


def _echo(descriptor: int, data: bytes) -> None:
    try:
        os.write(descriptor, data)
    except (BlockingIOError, BrokenPipeError):
        # The station hangs or has ended: the lease tells, not the echo.
        return


def _kill(order: Order) -> str:
    # A parent that has ended is no longer the parent: its number may be another program's by now.
    if os.getppid() == order.station_pid:
        os.kill(order.station_pid, signal.SIGKILL)
    return f"the station did not renew its lease for {order.lease_s:g} s with the drive on, and was killed"


def _switch_off(order: Order, dialect: SourceDialect, deadline_s: float) -> bool:
    link = open_link(
        order.address,
        name=f"{order.name}, by the watchdog",
        via=order.via,
        baud=order.baud,
        open_timeout=min(1.0, max(0.1, deadline_s - time.monotonic())),
    )
    try:
        link.write(off_bytes(dialect))
        link.discard_input(quiet=dialect.off_quiet_s, timeout=_LONGEST_DISCARD_S)
        return off_verified(dialect, list(_replies(link, dialect)))
    finally:
        link.close()


def _replies(link: Link, dialect: SourceDialect) -> Iterable[bytes]:
    for query in off_queries(dialect):
        link.write(query)
        yield link.read_until(dialect.wire.terminator_in, timeout=dialect.off_timeout_s)


def _leave_word(order: Order, why: str, trouble: str) -> None:
    """Tell the next start what happened. A full disk must not keep the process alive."""
    state = DriveState(Path(order.home), order.bench)
    try:
        state.note("watchdog", why=why, outcome=trouble or "drive off, verified")
        if trouble:
            state.latch(f"{UNKNOWN}: {why}; then the watchdog could not switch off: {trouble}")
    except OSError as error:
        print(f"{order.bench}: the watchdog could not leave word in {order.home}: {error}", file=sys.stderr)


if __name__ == "__main__":
    sys.exit(main())
