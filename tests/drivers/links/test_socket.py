"""The socket route against peers that behave badly, byte for byte."""

import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from drivers.errors import LinkClosed, LinkTimeout, ReplyError
from drivers.link import MESSAGE_LIMIT, Link
from drivers.links.open import open_link
from drivers.links.socket import SocketPort
from tests.drivers.links.peers import (
    Script,
    Step,
    TcpPeer,
    answering,
    babbling,
    closing,
    doubled,
    dripping,
    garbled,
    late,
    split,
)

_VIAS = ("socket", "visa")


@contextmanager
def _asked(script: Script, via: str) -> Iterator[Link]:
    """Open a link to a peer with `script` and ask it for a measurement."""
    with TcpPeer(script) as peer:
        link = open_link(peer.address, name="lcr-1", via=via)
        try:
            link.write(b"FETC?\n")
            yield link
        finally:
            link.close()


def _in_turn(*scripts: Script) -> Script:
    """Answer the first message by the first script, and so on."""
    left = iter(scripts)
    return lambda message: next(left)(message)


@pytest.mark.parametrize("via", _VIAS)
@pytest.mark.parametrize(
    ("script", "expected"),
    [
        (answering(b"+1.5E+00\n"), b"+1.5E+00"),
        (split(b"+1.5E+00\n", 4, 0.01), b"+1.5E+00"),
        (dripping(b"+1.5E+00\n", 0.002), b"+1.5E+00"),
        (garbled(b"+1.5E+00\n"), b"+1.5\xc5+00"),
    ],
    ids=["plain", "split", "dripping", "garbled"],
)
def test_read_gives_bytes_as_sent(via: str, script: Script, expected: bytes) -> None:
    """However a message comes it is whole, and nothing of it is repaired or decoded."""
    with _asked(script, via) as link:
        assert expected == link.read_until(b"\n", timeout=5.0)


@pytest.mark.slow
@pytest.mark.parametrize("via", _VIAS)
def test_discard_takes_late_answer_away(via: str) -> None:
    """The answer that came after its time-out is discarded, and not the next query's."""
    with _asked(_in_turn(late(b"+1.0E+00\n", 0.05), answering(b"+2.0E+00\n")), via) as link:
        with pytest.raises(LinkTimeout):
            link.read_until(b"\n", timeout=0.01)
        stale = link.discard_input(quiet=0.4)
        link.write(b"FETC?\n")

        assert stale == b"+1.0E+00\n"
        assert link.read_until(b"\n", timeout=5.0) == b"+2.0E+00"


@pytest.mark.parametrize("via", _VIAS)
def test_discard_without_quiet_shows_doubled_answer(via: str) -> None:
    """What came unasked is there to be seen before the next query."""
    with _asked(doubled(b"+1.0E+00\n"), via) as link:
        link.read_until(b"\n", timeout=5.0)

        assert link.discard_input(quiet=0.2) == b"+1.0E+00\n"


@pytest.mark.parametrize("via", _VIAS)
def test_read_refuses_twenty_megabyte_line(via: str) -> None:
    """A line of 20 MB is refused at the limit, and only a sample of it is kept."""
    with _asked(answering(bytes(20_000_000) + b"\n"), via) as link:
        with pytest.raises(ReplyError) as caught:
            link.read_until(b"\n", timeout=5.0)

        assert f"within {MESSAGE_LIMIT} bytes" in str(caught.value)
        assert len(caught.value.received) <= 4096


@pytest.mark.parametrize("via", _VIAS)
def test_read_and_discard_survive_babbler(via: str) -> None:
    """From a peer that never stops the lines are read one by one, and quiet is never found."""
    with _asked(babbling(b"A\n", 0.001), via) as link:
        assert link.read_until(b"\n", timeout=5.0) == b"A"
        with pytest.raises(LinkTimeout, match="still sending"):
            link.discard_input(quiet=1.0, timeout=0.1)


@pytest.mark.parametrize("via", _VIAS)
@pytest.mark.parametrize("script", [closing(b""), closing(b"+1.5")], ids=["nothing", "half"])
def test_read_tells_closed_peer(via: str, script: Script) -> None:
    """A peer that closes in place of its answer, or in the middle of it, is told as closed."""
    with _asked(script, via) as link:
        start_s = time.monotonic()
        with pytest.raises(LinkClosed, match=r"the other end closed after 'FETC\?'"):
            link.read_until(b"\n", timeout=60.0)

        assert time.monotonic() - start_s < 30.0


@pytest.mark.parametrize("via", _VIAS)
def test_read_tells_reset_connection(via: str) -> None:
    """A connection that is reset (the peer closed with our bytes unread) is closed, too."""
    with TcpPeer(lambda _message: (Step(0.0, b"", hang_up=True),)) as peer:
        link = open_link(peer.address, name="lcr-1", via=via)
        peer.stop_taking()
        link.write(b"FETC?\n")
        peer.hang_up()
        with pytest.raises(LinkClosed):
            link.read_until(b"\n", timeout=5.0)
        link.close()


def test_port_sends_small_messages_at_once() -> None:
    """No small message waits for the acknowledge of the one before (44 ms, measured)."""
    near, far = socket.create_server(("127.0.0.1", 0)), socket.socket()
    far.connect(near.getsockname())
    port = SocketPort(far)

    assert far.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY) != 0
    port.close()
    near.close()
