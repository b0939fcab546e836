"""What a traced link keeps, and that it changes nothing."""

import pytest

from drivers.clock import ManualClock
from drivers.errors import LinkTimeout
from drivers.link import MESSAGE_LIMIT
from drivers.traced import TracedLink, TracedMessage, Transcript


class EchoLink:
    """Gives back what was written, in memory; silent when it has nothing."""

    name = "lcr-1 (here)"

    def __init__(self) -> None:
        self.waiting = b""
        self.closed = False

    def write(self, data: bytes) -> None:
        """Keep `data` for the reads."""
        self.waiting += data

    def read_until(self, terminator: bytes, *, timeout: float, limit: int = MESSAGE_LIMIT) -> bytes:
        """Return the next message."""
        if terminator not in self.waiting:
            raise LinkTimeout("lcr-1 (here): nothing", partial=self.waiting)
        message, _, self.waiting = self.waiting.partition(terminator)
        return message

    def read_exactly(self, count: int, *, timeout: float) -> bytes:
        """Return the next bytes."""
        data, self.waiting = self.waiting[:count], self.waiting[count:]
        return data

    def discard_input(self, *, quiet: float, timeout: float = 2.0) -> bytes:
        """Return all of it."""
        data, self.waiting = self.waiting, b""
        return data

    def close(self) -> None:
        """Note it."""
        self.closed = True


def test_traced_link_records_both_directions_with_time() -> None:
    """Each message is kept with its instrument, direction, process time and terminator."""
    clock, transcript = ManualClock(), Transcript()
    link = TracedLink(EchoLink(), transcript, clock=clock, instrument="lcr-1")
    link.write(b"A\nBC")
    clock.sleep(0.5)

    assert link.read_until(b"\n", timeout=1.0) == b"A"
    assert link.read_exactly(1, timeout=1.0) == b"B"
    assert link.discard_input(quiet=0.0) == b"C"
    assert transcript.messages() == (
        TracedMessage("lcr-1", "out", 0.0, b"A\nBC"),
        TracedMessage("lcr-1", "in", 0.5, b"A\n"),
        TracedMessage("lcr-1", "in", 0.5, b"B"),
        TracedMessage("lcr-1", "in", 0.5, b"C"),
    )


def test_traced_link_passes_errors_and_close_on() -> None:
    """An error comes through as it is and leaves nothing on record; closing closes."""
    inner, transcript = EchoLink(), Transcript()
    link = TracedLink(inner, transcript, clock=ManualClock())
    with pytest.raises(LinkTimeout):
        link.read_until(b"\n", timeout=1.0)
    link.discard_input(quiet=0.0)
    link.close()

    assert len(transcript) == 0
    assert inner.closed
    assert link.name == "lcr-1 (here)"


def test_take_empties_transcript() -> None:
    """What one run has taken is not in the next one's."""
    transcript = Transcript()
    transcript.record("lcr-1", "out", 0.0, b"A\n")

    assert transcript.take() == (TracedMessage("lcr-1", "out", 0.0, b"A\n"),)
    assert transcript.take() == ()


def test_transcript_nobody_takes_forgets_oldest() -> None:
    """An idle bench does not fill the memory, and the count says that something is missing."""
    transcript = Transcript()
    for number in range(100_010):
        transcript.record("lcr-1", "in", float(number), b"")

    assert len(transcript) == 100_000
    assert transcript.forgotten == 10
    transcript.take()
    assert transcript.forgotten == 0
