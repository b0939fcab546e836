"""Record each message that passes a link: what a run keeps as evidence of where its readings came from."""

from collections import deque
from collections.abc import Iterable
from itertools import starmap
from typing import Literal, NamedTuple

from drivers.clock import Clock
from drivers.link import MESSAGE_LIMIT, Link

Direction = Literal["out", "in"]

_MESSAGES_KEPT = 100_000
"""Nobody takes the transcript of an idle bench: it forgets its oldest messages then."""


class TracedMessage(NamedTuple):
    """Bytes as they passed: `out` to the instrument, `in` from it, terminator included.

    `monotonic_s` is process time of the bench's clock, taken before the first byte goes out or after the last
    one has come in.
    """

    instrument: str
    direction: Direction
    monotonic_s: float
    data: bytes


class Transcript:
    """The messages of all links of a bench in the order in which they passed. Belongs to one thread."""

    def __init__(self) -> None:
        # Plain tuples: this is on the path of each query, and few of them are ever looked at.
        self._rows: deque[tuple[str, Direction, float, bytes]] = deque(maxlen=_MESSAGES_KEPT)
        self._count = 0

    def record(self, instrument: str, direction: Direction, monotonic_s: float, data: bytes) -> None:
        """Append one message."""
        self._count += 1
        self._rows.append((instrument, direction, monotonic_s, data))

    def messages(self) -> tuple[TracedMessage, ...]:
        """Return what has passed since the last `take` or `clear`."""
        return tuple(starmap(TracedMessage, self._rows))

    def rows(self) -> Iterable[tuple[str, Direction, float, bytes]]:
        """Return the same as plain tuples: for who keeps them in a form of his own."""
        return tuple(self._rows)

    def take(self) -> tuple[TracedMessage, ...]:
        """Return what has passed since the last `take` or `clear`, and forget it."""
        taken = self.messages()
        self.clear()
        return taken

    def clear(self) -> None:
        """Forget what has passed."""
        self._rows.clear()
        self._count = 0

    @property
    def forgotten(self) -> int:
        """How many messages since the last `take` are no longer here because there were too many."""
        return self._count - len(self._rows)

    def __len__(self) -> int:
        return len(self._rows)


class TracedLink:
    """A link around a link: changes nothing, records what is sent and what is handed out or thrown away.

    What a failed read leaves in the link is recorded when it is read or discarded later; until then the error
    carries it.
    """

    def __init__(self, link: Link, transcript: Transcript, *, clock: Clock, instrument: str = "") -> None:
        """Trace `link` into `transcript` under the name `instrument` (the link's own if none is given)."""
        self.name = link.name
        self._link = link
        self._instrument = instrument or link.name
        self._record = transcript.record
        self._now_s = clock.monotonic

    def write(self, data: bytes) -> None:
        """Record `data`, then send it: what may have gone out is on record even if the send fails."""
        self._record(self._instrument, "out", self._now_s(), data)
        self._link.write(data)

    def read_until(self, terminator: bytes, *, timeout: float, limit: int = MESSAGE_LIMIT) -> bytes:
        """Return the link's next message; recorded with its terminator."""
        message = self._link.read_until(terminator, timeout=timeout, limit=limit)
        self._record(self._instrument, "in", self._now_s(), message + terminator)
        return message

    def read_exactly(self, count: int, *, timeout: float) -> bytes:
        """Return the link's next `count` bytes."""
        data = self._link.read_exactly(count, timeout=timeout)
        self._record(self._instrument, "in", self._now_s(), data)
        return data

    def discard_input(self, *, quiet: float, timeout: float = 2.0) -> bytes:
        """Throw the link's input away; what is handed back of it is recorded."""
        thrown = self._link.discard_input(quiet=quiet, timeout=timeout)
        if thrown:
            self._record(self._instrument, "in", self._now_s(), thrown)
        return thrown

    def close(self) -> None:
        """Close the link."""
        self._link.close()
