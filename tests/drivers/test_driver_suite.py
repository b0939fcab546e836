"""The shipped suite is worth something: drivers with one guard left out do not pass it."""

from collections.abc import Callable, Sequence

import pytest

from drivers.clock import Clock
from drivers.contracts.drivers import DriverCase, check_driver
from drivers.contracts.expectations import ContractBroken
from drivers.link import Link
from drivers.numbers import parse_number
from drivers.readings import Identity, Quantity, Reading, ReadingStatus
from drivers.session import ScpiSession, check_identity, parse_identity
from tests.drivers.benches import SOURCE
from tests.drivers.peers import SourcePeer


class NaiveDriver:
    """Writes, reads, believes."""

    def __init__(self, link: Link, clock: Clock, identity: str) -> None:
        self.link = link
        self.expected = identity

    def identify(self) -> Identity:
        """Ask who is there."""
        identity = parse_identity(self.ask(b"*IDN?\n"))
        check_identity("naive", identity, self.expected)
        return identity

    def measure(self) -> Sequence[Reading]:
        """Ask for the current."""
        reply = self.ask(b"MEAS:CURR?\n")
        return [Reading(Quantity.CURRENT, self.value(reply), ReadingStatus.GOOD, "naive", 0.0, reply)]

    def ask(self, message: bytes) -> bytes:
        """Write and read."""
        self.link.write(message)
        return self.link.read_until(b"\n", timeout=0.5)

    def value(self, reply: bytes) -> float | None:
        """Take anything for a number."""
        return float(reply)


class PatientDriver(NaiveDriver):
    """Waits for quiet after a time-out and parses strictly, but has no closing query."""

    def __init__(self, link: Link, clock: Clock, identity: str) -> None:
        super().__init__(link, clock, identity)
        self.session = ScpiSession(link, SOURCE.wire)

    def ask(self, message: bytes) -> bytes:
        """Ask over a session."""
        return self.session.query(message.decode().strip())

    def value(self, reply: bytes) -> float | None:
        """Parse a number, but have it out of place."""
        return parse_number(reply)[0]


class IndifferentDriver(PatientDriver):
    """Takes any instrument for its own."""

    def identify(self) -> Identity:
        """Ask who is there and not care."""
        return self.session.identity()


def started() -> SourcePeer:
    """Return a source whose output is on."""
    peer = SourcePeer()
    peer.output = True
    return peer


def case_of(make: Callable[[Link, Clock, str], NaiveDriver]) -> DriverCase[NaiveDriver]:
    """Return the case of a source's current."""
    return DriverCase(
        make=make,
        prepare=lambda driver: None,
        measure=lambda driver: driver.measure(),
        peer=started,
        expected=lambda truth: [0.25 * (1 + 0.013 * truth)],
        terminator_out=b"\n",
    )


@pytest.mark.parametrize("make", [NaiveDriver, PatientDriver, IndifferentDriver])
def test_driver_with_a_guard_left_out_does_not_pass(make: Callable[[Link, Clock, str], NaiveDriver]) -> None:
    """A suite that lets these pass would let a stale number pass."""
    with pytest.raises(ContractBroken):
        check_driver(case_of(make))
