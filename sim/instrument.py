"""What every simulated instrument is: bytes in, timed bytes out.

No thread, no socket, no clock of its own: a host tells it the time (process time of the bench's clock, in s)
and moves its bytes. So it can stream, heat a coil or drop a dead-man on time behind any kind of host.
"""

from typing import NamedTuple, Protocol


class Emission(NamedTuple):
    """Bytes that leave the instrument at `time_s`. `hang_up` closes the connection after them."""

    time_s: float
    data: bytes
    hang_up: bool = False


class SimulatedInstrument(Protocol):
    """Sans-I/O: the host calls these in order of time and from one thread only."""

    name: str

    def connect(self, now_s: float) -> None:
        """A client has opened the line."""
        ...

    def receive(self, data: bytes, now_s: float) -> None:
        """Take bytes from the client, in pieces of any size."""
        ...

    def advance(self, now_s: float) -> list[Emission]:
        """Let time pass to `now_s`; return what is due by then, in order of time."""
        ...

    def next_due(self) -> float | None:
        """Return when something next happens by itself (an emission, a dead-man); None for never."""
        ...

    def disconnect(self, now_s: float) -> None:
        """The client has gone. What was not sent yet is lost."""
        ...
