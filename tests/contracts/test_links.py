"""The link contract on every route over real ports."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest

from drivers.contracts.links import LINK_CHECKS, LinkUnderTest
from drivers.links.open import open_link
from drivers.stop import StopToken
from tests.drivers.links.peers import PtyPeer, TcpPeer

_ROUTES = {
    "socket": (TcpPeer, "socket"),
    "socket-by-visa": (TcpPeer, "visa"),
    "serial": (PtyPeer, "serial"),
    "serial-by-visa": (PtyPeer, "visa"),
}


@contextmanager
def _opened(route: str) -> Iterator[LinkUnderTest]:
    make_peer, via = _ROUTES[route]
    stop = StopToken()
    with make_peer() as peer:
        link = open_link(peer.address, name="lcr-1", via=via, write_timeout=0.15, stop=stop)
        try:
            yield LinkUnderTest(link, peer, stop, time.monotonic)
        finally:
            link.close()


@pytest.mark.slow
@pytest.mark.parametrize("check", LINK_CHECKS, ids=lambda check: check.__name__)
@pytest.mark.parametrize("route", _ROUTES)
def test_link_keeps_contract(route: str, check: Callable[[LinkUnderTest], None]) -> None:
    """Each route passes each check of the contract."""
    with _opened(route) as made:
        check(made)
