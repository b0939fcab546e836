"""Talks to a simulated bench in bytes, with framing of the test's own."""

from binascii import crc_hqx
from collections.abc import Sequence

from drivers.clock import ManualClock
from sim.bench import FIXTURE, LCR, OPERATOR, SOURCE, THERMOMETER, BenchOptions, SimulatedBench
from sim.hosts.memory import MemoryHost, MemoryLink
from sim.truth import CoilTruth

PATIENCE_S = 30.0


class Talk:
    """A bench on memory links, every line opened when first used."""

    def __init__(self, *, options: BenchOptions | None = None, units: Sequence[CoilTruth] = ()) -> None:
        self.bench = SimulatedBench(options=options, units=units)
        self.world = self.bench.world
        self.clock = ManualClock()
        self.host = MemoryHost(self.bench.instruments, self.clock)
        self._links: dict[str, MemoryLink] = {}
        self._sequence = 0

    def link(self, name: str) -> MemoryLink:
        """Return the open line to an instrument."""
        if name not in self._links:
            self._links[name] = self.host.link(name)
        return self._links[name]

    def tell(self, name: str, *messages: str) -> None:
        """Send messages that are not answered."""
        for message in messages:
            self.link(name).write(message.encode() + b"\n")

    def ask(self, name: str, message: str) -> str:
        """Send a query and return its response."""
        self.tell(name, message)
        return self.link(name).read_until(b"\n", timeout=PATIENCE_S).decode()

    def fixture(self, command: str) -> str:
        """Send a fixture command and return its response after `<SEQ `, without the checksum."""
        self._sequence = (self._sequence + 1) % 256
        self.link(FIXTURE).write(program(self._sequence, command))
        line = self.link(FIXTURE).read_until(b"\n", timeout=PATIENCE_S)
        return line.rpartition(b"*")[0].decode().removeprefix(f"<{self._sequence} ")

    def temperatures(self) -> str:
        """Return the polled thermometer's response."""
        self.link(THERMOMETER).write(b"T?\r")
        return self.link(THERMOMETER).read_until(b"\r\n", timeout=PATIENCE_S).decode()

    def load(self, serial: str) -> None:
        """Have the operator load a unit, and wait until it is in."""
        assert self.ask(OPERATOR, f"LOAD {serial}") == "OK"
        self.clock.sleep(self.bench.options.handling_s + 0.1)
        self.host.run_to(self.clock.monotonic())

    def drive(self, voltage_v: float, *, current_a: float = 1.0, route: str = "FWD") -> None:
        """Drive the loaded coil."""
        self.tell(SOURCE, f"VOLT {voltage_v}", f"CURR {current_a}")
        self.fixture("ALIVE")
        self.fixture(f"ROUTE {route}")
        self.tell(SOURCE, "OUTP 1")

    def measure_lcr(
        self, function: str, *, frequency_hz: float = 1e5, range_ohm: float = 100.0
    ) -> list[float]:
        """Measure with an LCR-A in a fixed range; return its two numbers and the status."""
        self.tell(LCR, f"FUNC {function}", f"FREQ {frequency_hz}", f"RANG {range_ohm}", "TRIG", "TRIG")
        return [float(field) for field in self.ask(LCR, "FETC?").split(",")]


def program(sequence: int, command: str) -> bytes:
    """Return a fixture's program message."""
    body = f">{sequence} {command}".encode()
    return b"%s*%04X\n" % (body, crc_hqx(body, 0xFFFF))
