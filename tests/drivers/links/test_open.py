"""Choosing the route of an address, and what is said when it cannot be opened."""

import socket
import threading
import time
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.errors import LinkOpenError
from drivers.links.open import Via, find_route, open_link
from drivers.stop import Stopped, StopToken
from tests.drivers.links.peers import TcpPeer, answering


@pytest.fixture
def deaf_address() -> Iterator[str]:
    """Give an address that neither accepts nor refuses: its queue of callers is full."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen(0)
        callers = []
        for _ in range(3):
            caller = socket.socket()
            caller.setblocking(False)
            caller.connect_ex(listener.getsockname())
            callers.append(caller)
        yield f"TCPIP::127.0.0.1::{listener.getsockname()[1]}::SOCKET"
        for caller in callers:
            caller.close()


@pytest.fixture
def refused_address() -> str:
    """Give an address where nobody listens."""
    with socket.socket() as unused:
        unused.bind(("127.0.0.1", 0))
        return f"TCPIP::127.0.0.1::{unused.getsockname()[1]}::SOCKET"


@pytest.mark.parametrize(
    ("address", "via", "expected"),
    [
        ("TCPIP::10.0.0.5::5025::SOCKET", "auto", Via.SOCKET),
        ("tcpip0::lcr.local::5025::socket", "auto", Via.SOCKET),
        ("TCPIP::[::1]::5025::SOCKET", "auto", Via.SOCKET),
        ("TCPIP::10.0.0.5::5025::SOCKET", "visa", Via.VISA),
        ("TCPIP::10.0.0.5::INSTR", "auto", Via.VISA),
        ("TCPIP::10.0.0.5::hislip0::INSTR", "auto", Via.VISA),
        ("USB0::0x0000::0x0000::X1::INSTR", "auto", Via.VISA),
        ("GPIB0::17::INSTR", "auto", Via.VISA),
        ("ASRL/dev/ttyUSB0::INSTR", "auto", Via.SERIAL),
        ("ASRL/dev/ttyUSB0", "auto", Via.SERIAL),
        ("ASRL/dev/ttyUSB0::INSTR", "visa", Via.VISA),
        ("/dev/serial/by-id/usb-fixture-1", "auto", Via.SERIAL),
        ("/dev/ttyUSB0", "serial", Via.SERIAL),
    ],
)
def test_find_route_chooses_by_address(address: str, via: str, expected: Via) -> None:
    """A socket goes by socket, a serial device by serial, all else by VISA, unless the bench file says so."""
    assert expected == find_route(address, via=via).via


def test_find_route_takes_address_apart() -> None:
    """The route carries what its port is opened with."""
    tcp = find_route("TCPIP::[fe80::1]::5025::SOCKET")
    serial = find_route("ASRL/dev/ttyACM3::INSTR")

    assert (tcp.host, tcp.port, serial.device) == ("fe80::1", 5025, "/dev/ttyACM3")


@pytest.mark.parametrize(
    ("address", "via", "told"),
    [
        ("10.0.0.5:5025", "auto", "an address must look like"),
        ("", "auto", "an address must look like"),
        ("TCPIP::10.0.0.5::99999::SOCKET", "auto", "must be 1 to 65535; got 99999"),
        ("ASRL3::INSTR", "auto", "must name the device's path"),
        ("TCPIP::10.0.0.5::5025::SOCKET", "serial", "goes by socket, not by serial"),
        ("/dev/ttyUSB0", "visa", "goes by serial, not by visa"),
        ("GPIB0::17::INSTR", "socket", "goes by visa, not by socket"),
        ("/dev/ttyUSB0", "usb", "via must be one of auto, socket, visa, serial; got 'usb'"),
    ],
)
def test_find_route_refuses_what_leads_nowhere(address: str, via: str, told: str) -> None:
    """A wrong address is told with what would be right, before anything is opened."""
    with pytest.raises(ValueError, match=r"must|goes by") as caught:
        find_route(address, via=via)

    assert told in str(caught.value)


@given(address=st.text("TCPIPASRLUGBSOKEN:/0123456789[]. x", max_size=40))
def test_find_route_never_fails_otherwise(address: str) -> None:
    """Any text is a route or a `ValueError`."""
    try:
        route = find_route(address)
    except ValueError:
        return

    assert address == route.address


@pytest.mark.parametrize("via", ["socket", "visa"])
def test_open_refused_is_told_at_open(refused_address: str, via: str) -> None:
    """A refused connection is an error when the link is opened, not at the first write."""
    with pytest.raises(LinkOpenError) as caught:
        open_link(refused_address, name="lcr-1", via=via)

    assert str(caught.value).startswith(f"lcr-1 ({refused_address}): could not be opened")
    assert "Connection refused. Check" in str(caught.value)


@pytest.mark.parametrize(
    ("address", "via"),
    [("/dev/no-such-port", "auto"), ("ASRL/dev/no-such-port::INSTR", "visa"), ("nonsense", "auto")],
)
def test_open_of_nothing_is_told(address: str, via: str) -> None:
    """A device that is not there, or an address that is none, is a `LinkOpenError` with the name."""
    with pytest.raises(LinkOpenError) as caught:
        open_link(address, name="fixture-1", via=via)

    assert str(caught.value).startswith(f"fixture-1 ({address}): could not be opened")
    assert isinstance(caught.value, OSError)


def test_open_gives_up_on_deaf_address(deaf_address: str) -> None:
    """An address that does not answer is a `LinkOpenError` after the time allowed."""
    start_s = time.monotonic()
    with pytest.raises(LinkOpenError, match="no answer in time"):
        open_link(deaf_address, name="lcr-1", open_timeout=0.1)

    assert time.monotonic() - start_s < 5.0


def test_open_gives_way_to_stop(deaf_address: str) -> None:
    """A stop ends the opening too."""
    stop = StopToken()
    timer = threading.Timer(0.03, stop.set, ("hand stop",))
    timer.start()
    with pytest.raises(Stopped):
        open_link(deaf_address, name="lcr-1", open_timeout=60.0, stop=stop)
    timer.join()

    assert stop.is_set()


@pytest.mark.parametrize("via", ["socket", "visa"])
def test_open_link_asks_and_answers(via: str) -> None:
    """An opened link carries its name and address, and moves a query and its answer."""
    with TcpPeer(answering(b"+1.0E+00\n")) as peer:
        link = open_link(peer.address, name="lcr-1", via=via)
        link.write(b"FETC?\n")

        assert link.read_until(b"\n", timeout=5.0) == b"+1.0E+00"
        assert link.name == f"lcr-1 ({peer.address})"
        link.close()
