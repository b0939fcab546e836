"""What a nest's events look like on standard error."""

from station.cli.output import say
from station.core.events import BenchLatched, Event, MethodStarted, NextAction


def tell_progress(event: Event) -> None:
    """Write the events that an operator at a terminal needs."""
    if isinstance(event, NextAction):
        say(event.words)
    elif isinstance(event, MethodStarted):
        say(f"  {event.index} of {event.total}: {event.method}")
    elif isinstance(event, BenchLatched):
        say(f"BENCH LATCHED: {event.words}")
