"""The link of the driver suite keeps the contract of all links, and its faults do what they say."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest

from drivers.clock import ManualClock
from drivers.contracts.faults import cut, doubled, late, lost, split, with_next_digit, without_byte
from drivers.contracts.links import LINK_CHECKS, LinkUnderTest
from drivers.contracts.scripted import Delivery, ScriptedLink
from drivers.stop import StopToken
from tests.drivers.benches import LCR_LAST, LcrBench
from tests.drivers.peers import Sent


class TalkingPeer:
    """Sends what the test says, when it says so."""

    def __init__(self, clock: ManualClock) -> None:
        self._clock = clock
        self._came = b""
        self._due: list[Sent] = []

    def receive(self, data: bytes, now_s: float) -> None:
        """Keep what comes."""
        self._came += data

    def advance(self, now_s: float) -> list[Sent]:
        """Return what is due."""
        due = [sent for sent in self._due if sent.time_s <= now_s]
        self._due = [sent for sent in self._due if sent.time_s > now_s]
        return due

    def next_due(self) -> float | None:
        """Return when the next bytes leave."""
        return min((sent.time_s for sent in self._due), default=None)

    def send(self, data: bytes) -> None:
        """Send now."""
        self.send_later(0.0, data)

    def send_later(self, seconds: float, data: bytes) -> None:
        """Send in so many seconds."""
        self._due.append(Sent(self._clock.monotonic() + seconds, data))

    def received(self, size: int) -> bytes:
        """Return what has come: in memory that is at once."""
        return self._came

    def hang_up(self) -> None:
        """Close the line."""
        self._due.append(Sent(self._clock.monotonic(), b"", hang_up=True))

    def stop_taking(self) -> None:
        """Memory always takes what is written."""


@contextmanager
def opened() -> Iterator[LinkUnderTest]:
    """Open a link to a talking peer."""
    stop = StopToken()
    clock = ManualClock(stop=stop)
    peer = TalkingPeer(clock)
    link = ScriptedLink(peer, clock, terminator_out=b"\n", name="lcr-1")
    yield LinkUnderTest(link, peer, stop, clock.monotonic, real_time=False)
    link.close()


@pytest.mark.parametrize("check", LINK_CHECKS, ids=lambda check: check.__name__)
def test_scripted_link_keeps_contract(check: Callable[[LinkUnderTest], None]) -> None:
    """What drivers are tested on behaves as the links that they run on."""
    with opened() as made:
        check(made)


@pytest.mark.parametrize(
    ("deliveries", "expected"),
    [
        (late(0.5, 1.0, b"+1.25\n"), [(1.5, b"+1.25\n")]),
        (lost(1.0, b"+1.25\n"), []),
        (split(0.5, 1.0, b"+1.25\n"), [(1.0, b"+1."), (1.5, b"25\n")]),
        (cut(1.0, b"+1.25\n"), [(1.0, b"+1.")]),
        (doubled(0.5, 1.0, b"+1.25\n"), [(1.0, b"+1.25\n"), (1.5, b"+1.25\n")]),
        (without_byte(1, 1.0, b"+1.25\r\n"), [(1.0, b"+.25\r\n")]),
        (with_next_digit(1.0, b"+1.25*ABCD\n"), [(1.0, b"+1.26*ABCD\n")]),
    ],
)
def test_fault_makes_of_a_response_what_it_says(deliveries: list[Delivery], expected: list[Delivery]) -> None:
    """A fault that did nothing would let every driver pass."""

    assert expected == deliveries


def test_lost_message_never_reaches_the_peer() -> None:
    """Messages are counted one by one, also when several go in one write."""
    bench = LcrBench(LCR_LAST)
    bench.link.lose(1)
    bench.link.write(b"FUNC LSQ\nTRIG\nFETC?\n")

    assert ["FUNC LSQ", "FETC?"] == bench.peer.received
