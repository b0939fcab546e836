"""The network host: TCP ports and pseudo-terminals that anyone can open."""

import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from drivers.clock import RealClock
from drivers.errors import LinkClosed, ReplyError
from drivers.links.open import open_link
from sim.bench import FIXTURE, LCR, OPERATOR, SERIAL_PORTS, SOURCE, THERMOMETER, BenchOptions, SimulatedBench
from sim.faults import Fault, FaultKind
from sim.hosts.network import NetworkHost
from sim.instrument import Emission
from tests.sim.talk import program

SPEED = 20.0


def _host(*faults: Fault, thermometer_model: str = "TH-P") -> NetworkHost:
    options = BenchOptions(faults=faults, thermometer_model=thermometer_model)
    return NetworkHost(
        SimulatedBench(options=options).instruments, RealClock(speed=SPEED), serial=SERIAL_PORTS
    )


@pytest.fixture
def host() -> Iterator[NetworkHost]:
    """A bench on the machine's own ports."""
    with _host() as serving:
        yield serving


def _ask(host: NetworkHost, name: str, message: bytes) -> bytes:
    link = open_link(host.addresses[name], name=name)
    try:
        link.write(message)
        return link.read_until(b"\n", timeout=10.0)
    finally:
        link.close()


def test_addresses_are_as_visa_writes_them(host: NetworkHost) -> None:
    """Sockets for the SCPI instruments, serial lines for fixture and thermometer."""

    assert all(host.addresses[name].endswith("::SOCKET") for name in (LCR, SOURCE, OPERATOR))
    assert all(host.addresses[name].startswith("ASRL/") for name in (FIXTURE, THERMOMETER))


def test_each_line_can_be_opened_again(host: NetworkHost) -> None:
    """One client after the other."""
    first = [_ask(host, LCR, b"*IDN?\n"), _ask(host, FIXTURE, program(1, "STATE"))]

    assert first == [_ask(host, LCR, b"*IDN?\n"), _ask(host, FIXTURE, program(1, "STATE"))]


def test_second_client_is_turned_away(host: NetworkHost) -> None:
    """A socket instrument has one client at a time; the first is served on."""
    port = int(host.addresses[LCR].split("::")[2])
    with socket.create_connection(("127.0.0.1", port)) as first:
        first.sendall(b"*OPC?\n")
        assert b"1\n" == first.recv(100)
        with socket.create_connection(("127.0.0.1", port)) as second:
            second.settimeout(10.0)
            assert b"" == second.recv(100)
        first.sendall(b"*OPC?\n")

        assert b"1\n" == first.recv(100)


def test_next_client_finds_the_port_free_as_soon_as_the_first_is_gone(host: NetworkHost) -> None:
    """No pause is needed between closing and opening: a watchdog opens at once."""
    for _ in range(20):
        assert b"0" == _ask(host, SOURCE, b"OUTP?\n")


def test_client_that_goes_while_the_next_one_knocks_makes_room(host: NetworkHost) -> None:
    """Both come to the loop at once: a program that is killed, and its watchdog that opens the same port."""
    port = int(host.addresses[SOURCE].split("::")[2])
    first = socket.create_connection(("127.0.0.1", port), timeout=10.0)
    first.sendall(b"*OPC?\n")
    assert b"1\n" == first.recv(100)

    def change_over() -> socket.socket:
        second = socket.create_connection(("127.0.0.1", port), timeout=10.0)
        first.close()
        return second

    with host.ask(change_over) as second:
        second.sendall(b"OUTP?\n")

        assert b"0\n" == second.recv(100)


def test_world_is_asked_in_the_loop_s_thread(host: NetworkHost) -> None:
    """`ask` hands back the answer, and what the question raises."""

    assert 7 == host.ask(lambda: 7)
    with pytest.raises(KeyError):
        host.ask(lambda: host.addresses["nobody"])


@pytest.mark.parametrize("name", [SOURCE, FIXTURE])
def test_hang_up_is_seen_by_the_client_and_the_line_comes_back(name: str) -> None:
    """A closed socket and a pulled serial adapter are `LinkClosed`; the same address opens again."""
    message = b"*OPC?\n" if name == SOURCE else program(1, "ID")
    with _host(Fault(name, FaultKind.HANG_UP_HALF_WAY)) as host:
        link = open_link(host.addresses[name], name=name)
        link.write(message)
        with pytest.raises(LinkClosed):
            link.read_until(b"\n", timeout=10.0)
        link.close()

        assert _ask(host, name, message)


def test_long_babble_passes_through_a_slow_reader() -> None:
    """More than a socket's buffer holds is sent as the client takes it."""
    with _host(Fault(LCR, FaultKind.BABBLE, amount=900_000)) as host:
        port = int(host.addresses[LCR].split("::")[2])
        with socket.create_connection(("127.0.0.1", port)) as client:
            client.settimeout(10.0)
            client.sendall(b"*OPC?\n")
            count = 0
            while count < 900_000:
                count += len(client.recv(65_536))

    assert count >= 900_000


def test_long_babble_passes_over_a_serial_line() -> None:
    """More than a line's buffer holds is sent as the client takes it, until it is too long for a message."""
    with _host(Fault(FIXTURE, FaultKind.BABBLE, amount=200_000)) as host:
        link = open_link(host.addresses[FIXTURE], name=FIXTURE)
        link.write(program(1, "STATE"))
        with pytest.raises(ReplyError):
            link.read_until(b"\n", timeout=10.0)
        link.close()


def test_streaming_without_a_reader_does_not_stop_the_bench() -> None:
    """A full serial line loses bytes and the others are served on."""
    with _host(thermometer_model="TH-S") as host:
        for _ in range(3):
            assert b"1" == _ask(host, LCR, b"*OPC?\n")
        link = open_link(host.addresses[THERMOMETER], name=THERMOMETER)
        link.read_until(b"\r\n", timeout=10.0)

        assert link.read_until(b"\r\n", timeout=10.0).startswith((b"N=", b"ID="))
        link.close()


def test_closing_leaves_nothing_behind() -> None:
    """Ports are free, names are gone, descriptors are back."""
    _host().close()
    before = len(os.listdir("/dev/fd"))
    host = _host()
    path = Path(host.addresses[FIXTURE].removeprefix("ASRL").removesuffix("::INSTR"))
    port = int(host.addresses[LCR].split("::")[2])
    host.close()
    host.close()

    assert len(os.listdir("/dev/fd")) <= before
    assert not path.parent.exists()
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", port))


class _Broken:
    """An instrument with a fault of programming."""

    name = "broken"

    def connect(self, now_s: float) -> None:
        """Take the client."""

    def receive(self, data: bytes, now_s: float) -> None:
        """Fail."""
        raise ZeroDivisionError

    def advance(self, now_s: float) -> list[Emission]:
        """Do nothing."""
        return []

    def next_due(self) -> float | None:
        """Never."""
        return None

    def disconnect(self, now_s: float) -> None:
        """Let the client go."""


def test_instrument_that_breaks_the_loop_is_told_on_closing() -> None:
    """No silence: the client's line closes and `close` raises what happened."""
    host = NetworkHost({"broken": _Broken()}, RealClock())
    link = open_link(host.addresses["broken"], name="broken")
    link.write(b"x\n")
    with pytest.raises(LinkClosed):
        link.read_until(b"\n", timeout=10.0)
    link.close()
    with pytest.raises(ZeroDivisionError):
        host.close()
