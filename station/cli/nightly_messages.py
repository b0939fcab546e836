"""The messages of a night, written as they pass: a night has more of them than a transcript keeps."""

import click

from drivers.traced import Direction, TracedMessage, Transcript
from station.app.facts import Fact
from station.cli.output import emit


class ShownTranscript(Transcript):
    """Writes each message of each link to standard output and keeps none."""

    def __init__(self, *, as_json: bool) -> None:
        super().__init__()
        self._as_json = as_json
        self._broken = False

    def record(self, instrument: str, direction: Direction, monotonic_s: float, data: bytes) -> None:
        """Write one message."""
        if self._broken:
            return
        message = TracedMessage(instrument, direction, monotonic_s, data)
        try:
            if self._as_json:
                emit(message_fact(message))
            else:
                click.echo(message_text(message))
        except OSError:
            # Nobody reads any more (`| head`): that is no fault of the instrument whose message this is.
            self._broken = True


def message_text(message: TracedMessage) -> str:
    """Return one message as a line: simulated seconds, instrument, direction, bytes."""
    arrow = ">" if message.direction == "out" else "<"
    return f"{message.monotonic_s:12.6f}  {message.instrument:<14} {arrow} {message.data!r}"


def message_fact(message: TracedMessage) -> Fact:
    """Return one message; its bytes as text, each byte one character (ISO 8859-1)."""
    return {
        "monotonic_s": message.monotonic_s,
        "instrument": message.instrument,
        "direction": message.direction,
        "data": message.data.decode("latin-1"),
    }
