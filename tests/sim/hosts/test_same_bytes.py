"""The same bytes on every route: one script through memory, TCP and pseudo-terminals."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from drivers.clock import ManualClock, RealClock
from drivers.link import Link
from drivers.links.open import open_link
from sim.bench import FIXTURE, LCR, OPERATOR, SOURCE, THERMOMETER, BenchOptions, SimulatedBench
from sim.errors import GENERIC_LIMITS, GENERIC_NOISE, draw_errors
from sim.hosts.memory import MemoryHost
from sim.hosts.network import NetworkHost
from sim.lot import Lot
from tests.sim.talk import program

SERIAL = "L2641-01-A01"
SPEED = 20.0

SCRIPT: tuple[tuple[str, bytes, bytes], ...] = (
    (LCR, b"*IDN?\n", b"\n"),
    (OPERATOR, b"LOAD L2641-01-A01\n", b"\n"),
    (OPERATOR, b"STATE?\n", b"\n"),
    (FIXTURE, program(0, "ID"), b"\n"),
    (FIXTURE, program(1, "ROUTE KELVIN"), b"\n"),
    (FIXTURE, program(2, "CONTACT"), b"\n"),
    (FIXTURE, program(3, "ROUTE LCR"), b"\n"),
    (LCR, b"FUNC LSRS\nFREQ 1e5\nRANG 100\nTRIG\nTRIG\nFETC?\n", b"\n"),
    (LCR, b"FUNC RDC\nTRIG\nFETC?\n", b"\n"),
    (LCR, b"NONSENSE\nSYST:ERR?\n", b"\n"),
    (THERMOMETER, b"T?\r", b"\r\n"),
    (FIXTURE, program(4, "HEIGHT 2000"), b"\n"),
    (FIXTURE, program(5, "FIELD 5"), b"\n"),
    (SOURCE, b"VOLT 1\nCURR 0.1\nOUTP 1\nOUTP?\n", b"\n"),
    (SOURCE, b"MEAS:VOLT?\n", b"\n"),
    (SOURCE, b"MEAS:CURR?\n", b"\n"),
    (SOURCE, b"OUTP 0\nOUTP?\n", b"\n"),
    (FIXTURE, program(6, "ROUTE FWD"), b"\n"),
    (THERMOMETER, b"ID?\r", b"\r\n"),
    (FIXTURE, program(7, "STATE"), b"\n"),
)
"""An isothermal coil and polled readers, so that real time cannot show in the bytes."""


def _bench() -> SimulatedBench:
    isothermal = replace(Lot(1).truth(SERIAL), thermal=())
    options = BenchOptions(seed=1, noise=GENERIC_NOISE, errors=draw_errors(1, GENERIC_LIMITS), handling_s=0.0)
    return SimulatedBench(units=[isothermal], options=options)


def _play(open_line: Callable[[str], Link]) -> list[bytes]:
    links = {name: open_line(name) for name in (LCR, OPERATOR, FIXTURE, THERMOMETER, SOURCE)}
    replies = []
    for name, data, terminator in SCRIPT:
        links[name].write(data)
        replies.append(links[name].read_until(terminator, timeout=10.0))
    for link in links.values():
        link.close()
    return replies


def _by_memory() -> list[bytes]:
    return _play(MemoryHost(_bench().instruments, ManualClock()).link)


def _by_network(serial: tuple[str, ...]) -> list[bytes]:
    with NetworkHost(_bench().instruments, RealClock(speed=SPEED), serial=serial) as host:
        return _play(lambda name: open_link(host.addresses[name], name=name))


@pytest.mark.slow
@pytest.mark.parametrize(
    "serial",
    [(), (FIXTURE, THERMOMETER), (LCR, SOURCE, FIXTURE, THERMOMETER, OPERATOR)],
    ids=["tcp", "as on the bench", "pseudo-terminals"],
)
def test_replies_are_the_same_bytes_as_in_memory(serial: tuple[str, ...]) -> None:
    """Every reply, to the byte."""

    assert _by_memory() == _by_network(serial)
