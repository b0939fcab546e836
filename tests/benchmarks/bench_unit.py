"""A whole unit, measured and judged, against the same bytes on bare sockets and pseudo-terminals.

    python -m tests.benchmarks.bench_unit

Both sides talk to the same canned replies, and nothing settles: the clock's sleeps take no time. Our side is the
station as it is: sequencer, methods, drivers, guards, transcript, watchdog; with the records too in one variant. The
bare side sends what ours sent, and reads up to each terminator. One height, so that a unit has about as many queries
as the goal speaks of (70); the shipped plan has four heights.
"""

import os
import re
import socket
import tempfile
import termios
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import count
from pathlib import Path

from station.app.plans import design_field_of
from station.app.simulated import Simulation, build, describe
from station.bench import OpenBench
from station.core.plan import Plan
from station.core.plan_file import parse_plan
from station.core.results import Decision
from station.core.run_record import Purpose, RunOpened, RunRecord, UnitId
from station.data import data_path
from station.methods.context import Context
from station.records import Records
from station.sequencer import RunRequest, run_unit
from tests.benchmarks.canned_bench import RAW, canned_bench
from tests.benchmarks.ratios import Timed, compare, show
from tests.benchmarks.table import Line, ratio_line

GOAL = 3.0
BARE, JUDGED, RECORDED = "same bytes, bare ports", "a unit, judged", "a unit, judged, recorded"


class QuickClock:
    """Real time, in which nobody sleeps."""

    speed = 1.0

    def monotonic(self) -> float:
        """Return the machine's monotonic time."""
        return time.monotonic()

    def sleep(self, seconds: float) -> None:
        """Go on at once: the canned instruments need no settling."""

    def utc_now(self) -> datetime:
        """Return the machine's UTC time."""
        return datetime.now(UTC)


def short_plan() -> Plan:
    """Return the shipped plan with one height instead of four."""
    text = data_path("plans/IS-20.toml").read_text(encoding="utf-8")
    text = re.sub(r"(?m)^heights = .*$", 'heights = ["2 mm"]', text)
    text = re.sub(r'(?m)^\[characteristic\."B@[148]mm"\]\n(?:.+\n)+', "", text)
    return parse_plan(text, "IS-20.toml")


@dataclass(frozen=True, slots=True)
class Worker:
    """Takes units through on an open bench."""

    bench: OpenBench
    context: Context
    records: Records
    numbers: Iterator[int]

    def judge(self) -> RunRecord:
        """Measure and judge one unit."""
        record = run_unit(self.bench, self._request())
        if record.decision is not Decision.PASS:
            raise RuntimeError(f"the canned unit must pass: {record.decision}, {record.reason}")
        return record

    def record(self) -> None:
        """Do all of it: opened on record, measured, judged, committed."""
        request = self._request()
        self.records.open_run(request.opened)
        self.records.close_run(run_unit(self.bench, request))

    def _request(self) -> RunRequest:
        number, plan, setup = next(self.numbers), self.context.plan, self.bench.setup
        opened = RunOpened(
            run_id=f"run-{number}",
            unit=UnitId(f"L2641-01-{number}", "L2641", "01"),
            part=plan.part,
            plan_hash=plan.text_hash,
            bench=setup.name,
            nest=setup.nest,
            operator="OP-07",
            purpose=Purpose.PRODUCTION,
            simulated=True,
            opened_utc=self.bench.clock.utc_now(),
            software_version="0",
        )
        return RunRequest(opened, self.context, plan.steps, None, verification_id="of a benchmark")


@contextmanager
def _worker(ports: dict[str, str]) -> Iterator[Worker]:
    simulation = Simulation()
    addresses = {
        "lcr-1": f"TCPIP::127.0.0.1::{ports['lcr-1']}::SOCKET",
        "source-1": f"TCPIP::127.0.0.1::{ports['source-1']}::SOCKET",
        "fixture-1": f"ASRL{ports['fixture-1']}::INSTR",
        "thermometer-1": f"ASRL{ports['thermometer-1']}::INSTR",
        "operator": "",
    }
    setup = describe(simulation, build(simulation), addresses)
    plan = short_plan()
    with ExitStack() as stack:
        home = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="coilgate-bench-")))
        records = stack.enter_context(Records.open(home))
        records.keep_plan(plan)
        bench = stack.enter_context(OpenBench(setup, home=home, where="a benchmark", clock=QuickClock()))
        yield Worker(bench, Context(bench, plan, design_field_of(plan)), records, count(1))


class BarePorts:
    """The same lines without any of our layers."""

    def __init__(self, ports: dict[str, str], stack: ExitStack) -> None:
        self._asks: dict[str, Callable[[bytes, bytes], None]] = {}
        for name in ("lcr-1", "source-1"):
            sock = stack.enter_context(socket.create_connection(("127.0.0.1", int(ports[name]))))
            sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._asks[name] = self._exchange(sock.sendall, sock.recv)
        for name in ("fixture-1", "thermometer-1"):
            terminal = os.open(ports[name + RAW], os.O_RDWR | os.O_NOCTTY)
            stack.callback(os.close, terminal)
            tty.setraw(terminal, termios.TCSANOW)
            self._asks[name] = self._exchange(*_terminal_calls(terminal))

    def replay(self, messages: list[tuple[str, bytes, bytes]]) -> None:
        """Send each message and read until its terminator; an empty one means that nothing comes."""
        asks = self._asks
        for name, data, terminator in messages:
            asks[name](data, terminator)

    @staticmethod
    def _exchange(
        send: Callable[[bytes], object], receive: Callable[[int], bytes]
    ) -> Callable[[bytes, bytes], None]:
        def exchange(data: bytes, terminator: bytes) -> None:
            send(data)
            came = b""
            while terminator and not came.endswith(terminator):
                came += receive(4096)

        return exchange


def _terminal_calls(terminal: int) -> tuple[Callable[[bytes], object], Callable[[int], bytes]]:
    return (lambda data: os.write(terminal, data)), (lambda size: os.read(terminal, size))


def _messages(record: RunRecord) -> list[tuple[str, bytes, bytes]]:
    """Return (instrument, what was sent, terminator of what came back) of a run, in order."""
    found: list[tuple[str, bytes, bytes]] = []
    for each in record.transcript:
        if each.direction == "out":
            found.append((each.instrument, each.data, b""))
        else:
            ending = b"\r\n" if each.data.endswith(b"\r\n") else b"\n"
            found[-1] = (*found[-1][:2], ending)
    return found


def measure() -> tuple[int, list[Timed]]:
    """Return how many queries a unit has, and the times of the three sides."""
    with ExitStack() as stack:
        ports = stack.enter_context(canned_bench())
        worker = stack.enter_context(_worker(ports))
        messages = _messages(worker.judge())
        bare = BarePorts(ports, stack)
        sides: dict[str, Callable[[], object]] = {
            BARE: lambda: bare.replay(messages),
            JUDGED: worker.judge,
            RECORDED: worker.record,
        }
        return sum(bool(each[2]) for each in messages), compare(sides, calls=2, blocks=60)


def lines() -> list[Line]:
    """Return the lines of the table."""
    queries, timed = measure()
    return [ratio_line(f"{each.name} ({queries} queries)", each, BARE, GOAL) for each in timed[1:]]


def main() -> None:
    """Print the comparison."""
    queries, timed = measure()
    print(show(f"one unit, {queries} queries", timed, goals={JUDGED: GOAL, RECORDED: GOAL}))


if __name__ == "__main__":
    main()
