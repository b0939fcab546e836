"""What the link makes of a port's behaviour, with a port in memory: limits, words, and who gets the blame."""

from collections import deque
from collections.abc import Iterable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.errors import LinkClosed, LinkError, LinkTimeout, ReplyError
from drivers.links.stream import PortBroken, PortClosed, PortStuck, StreamLink


class PortInMemory:
    """Receives the pieces given, an exception in its turn; sends `room` bytes a call."""

    slice_s = 0.0

    def __init__(self, pieces: Iterable[bytes | Exception] = (), *, room: int = 1_000) -> None:
        self._pieces = deque(pieces)
        self._room = room
        self.sent = b""

    def receive(self, wait_s: float) -> bytes:
        """Return the next piece."""
        piece = self._pieces.popleft() if self._pieces else b""
        if isinstance(piece, Exception):
            raise piece
        return piece

    def send(self, data: bytes, wait_s: float) -> int:
        """Take a part of `data`."""
        self.sent += data[: self._room]
        return len(data[: self._room])

    def clear_input(self, quiet_s: float) -> bool:
        """Leave it to reading."""
        return False

    def close(self) -> None:
        """Do nothing."""


def _link(*pieces: bytes | Exception, room: int = 1_000) -> StreamLink:
    return StreamLink(PortInMemory(pieces, room=room), name="lcr-1 (here)", write_timeout=0.0)


@given(
    messages=st.lists(st.binary(max_size=20).filter(lambda data: b"\r" not in data), max_size=6),
    cuts=st.lists(st.integers(min_value=1, max_value=9), min_size=1, max_size=30),
)
def test_messages_survive_any_cutting(messages: list[bytes], cuts: list[int]) -> None:
    """However the stream is cut into pieces, the messages come out as they went in."""
    stream = b"".join(message + b"\r\n" for message in messages)
    pieces: list[bytes] = []
    at = 0
    while at < len(stream):
        size = cuts[len(pieces) % len(cuts)]
        pieces.append(stream[at : at + size])
        at += size
    link = _link(*pieces)

    assert messages == [link.read_until(b"\r\n", timeout=5.0) for _ in messages]


def test_write_sends_rest_until_all_is_taken() -> None:
    """A port that takes a part gets the rest, in order."""
    port = PortInMemory(room=3)
    StreamLink(port, name="lcr-1 (here)").write(b"FREQ 100000\n")

    assert port.sent == b"FREQ 100000\n"


def test_write_that_is_not_taken_tells_how_far_it_went() -> None:
    """A stuck write says who, what, how much went, what to do."""
    with pytest.raises(LinkTimeout) as caught:
        _link(room=0).write(b"FREQ 100000\n")

    assert str(caught.value) == (
        "lcr-1 (here): 'FREQ 100000' was not taken within 0 ms; 0 of 12 bytes went. "
        "Check that the instrument is on and not in a menu, then retry."
    )


def test_timeout_tells_who_what_came_and_what_to_do() -> None:
    """A time-out's message has its four parts in order."""
    link = _link(b"+1.23")
    link.write(b"FETC?\n")
    with pytest.raises(LinkTimeout) as caught:
        link.read_until(b"\n", timeout=0.0)

    assert str(caught.value) == (
        "lcr-1 (here): no complete reply to 'FETC?' within 0 ms; received b'+1.23'. "
        "Check the cable and that the instrument is on, then retry."
    )


def test_long_input_is_shortened_in_messages() -> None:
    """A message for people does not hold a kilobyte of rubbish; the error's `received` does."""
    link = _link(b"7" * 1_000)
    with pytest.raises(ReplyError) as caught:
        link.read_until(b"\n", timeout=5.0, limit=100)

    assert len(str(caught.value)) < 300
    assert caught.value.received == b"7" * 1_000


@pytest.mark.parametrize(
    ("raised", "expected"),
    [(PortClosed("reset by peer"), LinkClosed), (PortBroken("no memory"), LinkError)],
)
def test_port_failure_becomes_typed_error(raised: Exception, expected: type[LinkError]) -> None:
    """What a port says becomes an error of ours with its reason in the message."""
    with pytest.raises(expected, match=str(raised)) as caught:
        _link(raised).read_until(b"\n", timeout=5.0)

    assert expected is type(caught.value)
    assert raised is caught.value.__cause__


@pytest.mark.parametrize(
    ("raised", "expected"),
    [(PortClosed("x"), LinkClosed), (PortBroken("x"), LinkError), (PortStuck(), LinkTimeout)],
)
def test_failing_send_becomes_typed_error(raised: Exception, expected: type[LinkError]) -> None:
    """The same when sending; a port that waits by itself may say that the message was not taken."""

    class FailingPort(PortInMemory):
        def send(self, data: bytes, wait_s: float) -> int:
            raise raised

    with pytest.raises(expected) as caught:
        StreamLink(FailingPort(), name="lcr-1 (here)").write(b"OUTP 0\n")

    assert expected is type(caught.value)
    assert "'OUTP 0'" in str(caught.value)


def test_read_takes_what_lies_ready_at_the_deadline() -> None:
    """Bytes that are here when the time is over count: a busy computer is no late instrument."""
    assert _link(b"+1.0\n").read_until(b"\n", timeout=0.0) == b"+1.0"


def test_read_refuses_empty_terminator() -> None:
    """An empty terminator would end every message before its first byte."""
    with pytest.raises(ValueError, match="at least one byte"):
        _link().read_until(b"", timeout=0.0)
