"""The link contract on every route: memory, socket, serial, VISA; plain and traced."""

import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager

import pytest

from drivers.clock import ManualClock, RealClock
from drivers.contracts import links
from drivers.contracts.links import LINK_CHECKS, ContractBroken, LinkUnderTest, check_link
from drivers.links.open import open_link
from drivers.stop import StopToken
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
    link = MemoryHost({"lcr-1": peer}, clock, stop=stop).link("lcr-1")
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


def test_check_link_names_broken_check() -> None:
    """A link that breaks the contract is told which part of it."""

    @contextmanager
    def make_forgetful() -> Iterator[LinkUnderTest]:
        with _in_memory() as made:
            write = made.link.write
            made.link.write = lambda data: write(data[:-1])  # type: ignore[method-assign]
            yield made

    with pytest.raises(ContractBroken, match="check_write_arrives_whole: expected"):
        check_link(make_forgetful)


def test_every_check_is_in_the_suite() -> None:
    """No check is written and then forgotten."""
    written = {name for name in vars(links) if name.startswith("check_")} - {"check_link"}

    assert written == {check.__name__ for check in LINK_CHECKS}
