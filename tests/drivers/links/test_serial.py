"""The serial route on pseudo-terminals (they take 8N1 only; a real port is for `tests/hardware`)."""

import os
import threading

import pytest

from drivers.errors import LinkClosed, LinkOpenError, LinkTimeout
from drivers.links.frame import SerialFrame, parse_frame
from drivers.links.open import open_link
from drivers.links.serial import SerialPort
from drivers.links.stream import PortClosed
from tests.drivers.links.peers import PtyPeer, answering, babbling, closing, dripping, late

_VIAS = ("serial", "visa")


@pytest.mark.parametrize(
    ("text", "expected"),
    [("8N1", SerialFrame(8, "N", 1)), ("7e2", SerialFrame(7, "E", 2)), ("5O1", SerialFrame(5, "O", 1))],
)
def test_parse_frame_reads_trade_notation(text: str, expected: SerialFrame) -> None:
    """Data bits, parity, stop bits, in capitals or not."""
    assert expected == parse_frame(text)


@pytest.mark.parametrize("text", ["", "8N", "9N1", "8X1", "8N3", "8N1 ", "8N11"])
def test_parse_frame_refuses_what_is_none(text: str) -> None:
    """Anything else is an error that says what would be right."""
    with pytest.raises(ValueError, match="data bits 5 to 8, parity N, E or O, stop bits 1 or 2"):
        parse_frame(text)


@pytest.mark.parametrize("via", _VIAS)
@pytest.mark.parametrize(
    "script", [answering(b"+023.512\r\n"), dripping(b"+023.512\r\n", 0.002)], ids=["plain", "dripping"]
)
def test_read_gives_whole_line(via: str, script: object) -> None:
    """A line is whole, in one piece or byte by byte, and CR LF is its terminator, not a part of it."""
    with PtyPeer(script) as peer:  # type: ignore[arg-type]
        link = open_link(peer.address, name="thermometer-1", via=via)
        link.write(b"T?\r")

        assert link.read_until(b"\r\n", timeout=5.0) == b"+023.512"
        link.close()


@pytest.mark.parametrize("via", _VIAS)
def test_open_refuses_port_in_use(via: str) -> None:
    """A second opener is told, and the first goes on working."""
    with PtyPeer(answering(b"OK\n")) as peer:
        link = open_link(peer.address, name="fixture-1", via=via)
        with pytest.raises(LinkOpenError, match="no other program holds it"):
            open_link(peer.address, name="fixture-1", via=via)
        link.write(b"ID\n")

        assert link.read_until(b"\n", timeout=5.0) == b"OK"
        link.close()


@pytest.mark.parametrize("via", _VIAS)
def test_close_lets_port_go(via: str) -> None:
    """A closed link can be opened again at once, and what came for the old one is gone."""
    with PtyPeer(answering(b"OK\n")) as peer:
        link = open_link(peer.address, name="fixture-1", via=via)
        link.write(b"ID\n")
        peer.received(3)
        link.close()
        link = open_link(peer.address, name="fixture-1", via=via)
        link.discard_input(quiet=0.02)
        link.write(b"ID\n")

        assert link.read_until(b"\n", timeout=5.0) == b"OK"
        link.close()


@pytest.mark.parametrize("via", _VIAS)
def test_open_refuses_frame_that_is_none(via: str) -> None:
    """A frame from a bench file that is none is told at open."""
    with PtyPeer() as peer, pytest.raises(LinkOpenError, match="got '8Z1'"):
        open_link(peer.address, name="fixture-1", via=via, frame="8Z1")


@pytest.mark.parametrize("via", _VIAS)
@pytest.mark.parametrize("frame", ["7N1", "8E1", "7O2"])
def test_open_tells_frame_that_port_cannot_do(via: str, frame: str) -> None:
    """A frame that this port refuses (a pseudo-terminal takes 8N1 only) is told at open."""
    with PtyPeer() as peer, pytest.raises(LinkOpenError, match="could not be opened"):
        open_link(peer.address, name="fixture-1", via=via, frame=frame)


class _FailingAdapter:
    """Stands for a pyserial port whose adapter is no longer there."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor

    def fileno(self) -> int:
        """Return a descriptor that cannot be written."""
        return self._descriptor

    def close(self) -> None:
        """Fail as a pulled adapter does."""
        raise OSError(5, "Input/output error")


def test_port_of_pulled_adapter_tells_and_closes() -> None:
    """Writing to what is gone is told as closed; closing it is no error of ours."""
    near, far = os.pipe()
    port = SerialPort(_FailingAdapter(near))
    os.close(far)
    with pytest.raises(PortClosed):
        port.send(b"ID\n", 0.0)
    port.close()
    os.close(near)


def test_open_refuses_speed_that_is_none() -> None:
    """A speed that no port has is told at open."""
    with PtyPeer() as peer, pytest.raises(LinkOpenError, match="at -1 baud"):
        open_link(peer.address, name="fixture-1", baud=-1)


@pytest.mark.parametrize("via", _VIAS)
def test_read_tells_pulled_cable_in_the_middle(via: str) -> None:
    """A cable that is pulled while an answer is awaited is told at once."""
    with PtyPeer() as peer:
        link = open_link(peer.address, name="fixture-1", via=via)
        link.write(b"STATE\n")
        puller = threading.Timer(0.02, peer.hang_up)
        puller.start()
        with pytest.raises(LinkClosed, match="the other end closed after 'STATE'"):
            link.read_until(b"\n", timeout=60.0)
        puller.join()
        link.close()


@pytest.mark.parametrize("via", _VIAS)
def test_every_call_tells_pulled_cable(via: str) -> None:
    """After the cable was pulled no call pretends that all is well, closing included."""
    with PtyPeer(closing(b"")) as peer:
        link = open_link(peer.address, name="fixture-1", via=via)
        link.write(b"STATE\n")
        for call in (
            lambda: link.read_until(b"\n", timeout=60.0),
            lambda: link.read_exactly(1, timeout=60.0),
            lambda: link.discard_input(quiet=0.0),
            lambda: link.write(b"STATE\n"),
        ):
            with pytest.raises(LinkClosed):
                call()
        link.close()


@pytest.mark.slow
@pytest.mark.parametrize("via", _VIAS)
def test_discard_takes_late_line_away(via: str) -> None:
    """What came after its time-out is discarded, whole."""
    with PtyPeer(late(b"+023.512\r\n", 0.05)) as peer:
        link = open_link(peer.address, name="thermometer-1", via=via)
        link.write(b"T?\r")
        with pytest.raises(LinkTimeout):
            link.read_until(b"\r\n", timeout=0.01)

        assert link.discard_input(quiet=0.4) == b"+023.512\r\n"
        link.close()


@pytest.mark.parametrize("via", _VIAS)
def test_discard_gives_up_on_streaming_instrument(via: str) -> None:
    """An instrument that sends by itself is never quiet."""
    with PtyPeer(babbling(b"N=1 C=+23.51\r\n", 0.005)) as peer:
        link = open_link(peer.address, name="thermometer-1", via=via)
        link.write(b"GO\r")
        with pytest.raises(LinkTimeout, match="still sending"):
            link.discard_input(quiet=1.0, timeout=0.1)
        link.close()
