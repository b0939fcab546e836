"""The link contract on every route: memory, socket, serial, VISA; plain and traced."""

import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress

import pytest

from drivers.clock import ManualClock, RealClock
from drivers.contracts import links
from drivers.contracts.links import LINK_CHECKS, ContractBroken, LinkUnderTest, check_link
from drivers.errors import LinkTimeout
from drivers.link import MESSAGE_LIMIT, Link
from drivers.links.open import open_link
from drivers.stop import Stopped, StopToken
from drivers.traced import TracedLink, Transcript
from sim.hosts.memory import MemoryHost
from tests.contracts.memory_peer import MemoryPeer
from tests.drivers.links.peers import PtyPeer, TcpPeer

_ROUTES = {
    "socket": (TcpPeer, "socket"),
    "socket-by-visa": (TcpPeer, "visa"),
    "serial": (PtyPeer, "serial"),
    "serial-by-visa": (PtyPeer, "visa"),
}


@contextmanager
def _over_port(route: str) -> Iterator[LinkUnderTest]:
    make_peer, via = _ROUTES[route]
    stop = StopToken()
    with make_peer() as peer:
        link = open_link(peer.address, name="lcr-1", via=via, write_timeout=0.15, stop=stop)
        try:
            yield LinkUnderTest(link, peer, stop, time.monotonic)
        finally:
            link.close()


@contextmanager
def _traced() -> Iterator[LinkUnderTest]:
    with _over_port("socket") as made:
        traced = TracedLink(made.link, Transcript(), clock=RealClock())
        yield LinkUnderTest(traced, made.peer, made.stop, made.link_time)


@contextmanager
def _in_memory() -> Iterator[LinkUnderTest]:
    stop = StopToken()
    clock = ManualClock(stop=stop)
    peer = MemoryPeer("lcr-1", clock)
    host = MemoryHost({"lcr-1": peer}, clock, stop=stop)
    peer.on_change = host.look
    link = host.link("lcr-1")
    yield LinkUnderTest(link, peer, stop, clock.monotonic, real_time=False)


def _id(check: Callable[[LinkUnderTest], None]) -> str:
    return check.__name__.removeprefix("check_")


@pytest.mark.slow
@pytest.mark.parametrize("check", LINK_CHECKS, ids=_id)
@pytest.mark.parametrize("route", _ROUTES)
def test_port_link_keeps_contract(route: str, check: Callable[[LinkUnderTest], None]) -> None:
    """Each route over a real port passes each check."""
    with _over_port(route) as made:
        check(made)


@pytest.mark.slow
@pytest.mark.parametrize("check", LINK_CHECKS, ids=_id)
def test_traced_link_keeps_contract(check: Callable[[LinkUnderTest], None]) -> None:
    """Tracing takes nothing of it away."""
    with _traced() as made:
        check(made)


@pytest.mark.parametrize("check", LINK_CHECKS, ids=_id)
def test_memory_link_keeps_contract(check: Callable[[LinkUnderTest], None]) -> None:
    """The simulated link passes what can be shown in simulated time."""
    with _in_memory() as made:
        check(made)


def test_check_link_runs_all_checks() -> None:
    """The suite as a whole passes on a good link."""
    made = 0

    def make_link() -> AbstractContextManager[LinkUnderTest]:
        nonlocal made
        made += 1
        return _in_memory()

    check_link(make_link)

    assert len(LINK_CHECKS) == made


class BrokenLink:
    """A good link in memory, for a subclass to break in one point."""

    def __init__(self, link: Link) -> None:
        self.name = link.name
        self.link = link

    def write(self, data: bytes) -> None:
        """As the good link."""
        self.link.write(data)

    def read_until(self, terminator: bytes, *, timeout: float, limit: int = MESSAGE_LIMIT) -> bytes:
        """As the good link."""
        return self.link.read_until(terminator, timeout=timeout, limit=limit)

    def read_exactly(self, count: int, *, timeout: float) -> bytes:
        """As the good link."""
        return self.link.read_exactly(count, timeout=timeout)

    def discard_input(self, *, quiet: float, timeout: float = 2.0) -> bytes:
        """As the good link."""
        return self.link.discard_input(quiet=quiet, timeout=timeout)

    def close(self) -> None:
        """As the good link."""
        self.link.close()


class LosesLastByte(BrokenLink):
    """Sends a byte too few."""

    def write(self, data: bytes) -> None:
        """Send a part."""
        self.link.write(data[:-1])


class GivesPartAsMessage(BrokenLink):
    """Returns what came by the deadline as if it were whole, as some port libraries do."""

    def read_until(self, terminator: bytes, *, timeout: float, limit: int = MESSAGE_LIMIT) -> bytes:
        """Hide the time-out."""
        try:
            return super().read_until(terminator, timeout=timeout, limit=limit)
        except LinkTimeout as error:
            return error.partial


class TimesOutLate(BrokenLink):
    """Takes longer than it was given."""

    def read_until(self, terminator: bytes, *, timeout: float, limit: int = MESSAGE_LIMIT) -> bytes:
        """Wait a tenth longer and more."""
        return super().read_until(terminator, timeout=timeout + 0.06, limit=limit)


class TimesOutEarly(BrokenLink):
    """Gives up before its time."""

    def read_until(self, terminator: bytes, *, timeout: float, limit: int = MESSAGE_LIMIT) -> bytes:
        """Wait half the time."""
        return super().read_until(terminator, timeout=timeout / 2, limit=limit)


class RaisesBareErrors(BrokenLink):
    """Lets an error through that is none of ours."""

    def read_until(self, terminator: bytes, *, timeout: float, limit: int = MESSAGE_LIMIT) -> bytes:
        """Raise what a library might."""
        try:
            return super().read_until(terminator, timeout=timeout, limit=limit)
        except LinkTimeout as error:
            raise ValueError("timed out") from error


class HidesItsName(BrokenLink):
    """Says nothing of who it is."""

    def read_until(self, terminator: bytes, *, timeout: float, limit: int = MESSAGE_LIMIT) -> bytes:
        """Raise an error without a name."""
        try:
            return super().read_until(terminator, timeout=timeout, limit=limit)
        except LinkTimeout as error:
            raise LinkTimeout("timeout expired", partial=error.partial) from error


class EatsWhatCame(BrokenLink):
    """Takes the part of a message away that a short read has seen."""

    def read_exactly(self, count: int, *, timeout: float) -> bytes:
        """Discard after a time-out."""
        try:
            return super().read_exactly(count, timeout=timeout)
        except LinkTimeout as error:
            self.link.discard_input(quiet=0.0)
            raise error


class IgnoresStop(BrokenLink):
    """Sends after a stop."""

    def write(self, data: bytes) -> None:
        """Swallow the stop."""
        with suppress(Stopped):
            super().write(data)


@pytest.mark.parametrize(
    ("broken", "told"),
    [
        (LosesLastByte, "check_write_arrives_whole: expected"),
        (GivesPartAsMessage, "check_silence_is_a_timeout: expected LinkTimeout; got b''"),
        (TimesOutLate, "check_silence_is_a_timeout: expected at most 0.05 s late; got 0.06"),
        (TimesOutEarly, "check_silence_is_a_timeout: the time-out came 0.050 s early"),
        (RaisesBareErrors, "check_silence_is_a_timeout: expected LinkTimeout; got ValueError"),
        (HidesItsName, "check_silence_is_a_timeout: a message must begin with 'lcr-1 (memory)'"),
        (EatsWhatCame, "check_half_message_is_a_timeout"),
        (IgnoresStop, "check_stop_comes_first: expected Stopped; got None"),
    ],
)
def test_check_link_names_broken_check(broken: type[BrokenLink], told: str) -> None:
    """A link that breaks the contract is told which part of it."""

    @contextmanager
    def make_broken() -> Iterator[LinkUnderTest]:
        stop = StopToken()
        clock = ManualClock(stop=stop)
        peer = MemoryPeer("lcr-1", clock)
        host = MemoryHost({"lcr-1": peer}, clock, stop=stop)
        peer.on_change = host.look
        link = broken(host.link("lcr-1"))
        yield LinkUnderTest(link, peer, stop, clock.monotonic, real_time=False)

    with pytest.raises(ContractBroken) as caught:
        check_link(make_broken)

    assert str(caught.value).startswith(told)


@pytest.mark.slow
def test_check_link_finds_link_that_computes_while_it_waits() -> None:
    """Asking the port without a pause keeps the deadline, and is found by the time spent computing."""

    class Spins(BrokenLink):
        def read_until(self, terminator: bytes, *, timeout: float, limit: int = MESSAGE_LIMIT) -> bytes:
            deadline_s = time.monotonic() + timeout
            while True:
                try:
                    return super().read_until(terminator, timeout=0.0, limit=limit)
                except LinkTimeout:
                    if time.monotonic() > deadline_s:
                        raise

    with _over_port("socket") as made:
        spinning = LinkUnderTest(Spins(made.link), made.peer, made.stop, made.link_time)
        with pytest.raises(ContractBroken, match="s spent computing"):
            links.check_silence_is_a_timeout(spinning)


def test_every_check_is_in_the_suite() -> None:
    """No check is written and then forgotten."""
    written = {name for name in vars(links) if name.startswith("check_")} - {"check_link"}

    assert written == {check.__name__ for check in LINK_CHECKS}
