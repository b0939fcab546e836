"""What a nest's events look like on standard error."""

from station.cli.output import say
from station.core.events import BenchLatched, Event, HeatingSample, MethodStarted, NestCool, NestHot, NextAction

HEATING_EVERY_S = 10.0
COVERAGE = 1.96
"""95 % of a normal distribution: the fit's uncertainties are widened so that this covers."""


def tell_progress(event: Event) -> None:
    """Write the events that an operator at a terminal needs."""
    if isinstance(event, NextAction):
        if event.words:
            say(event.words)
    elif isinstance(event, MethodStarted):
        say(f"  {event.index} of {event.total}: {event.method}")
    elif isinstance(event, BenchLatched):
        say(f"BENCH LATCHED: {event.words}")


class Teller:
    """Writes the same, and how a heating goes: the caution once, its curve every ten seconds."""

    def __init__(self) -> None:
        self._driven: bool | None = None
        self._told_s = -HEATING_EVERY_S

    def __call__(self, event: Event) -> None:
        """Take an event."""
        if isinstance(event, NestHot):
            self._hot(event)
        elif isinstance(event, HeatingSample):
            self._heating(event)
        elif isinstance(event, NestCool):
            self._driven, self._told_s = None, -HEATING_EVERY_S
            say("  The nest is cool.")
        else:
            tell_progress(event)

    def _hot(self, event: NestHot) -> None:
        if self._driven == event.driven:
            return
        self._driven = event.driven
        latest = "" if event.cool_by_utc is None else f"; at {event.cool_by_utc.astimezone():%H:%M:%S} at the latest"
        what = "the coil is driven and gets hot" if event.driven else "the coil is hot"
        say(f"  CAUTION: {what}. Do not touch it until the nest reads below {event.touch_limit_degc:g} degC{latest}.")

    def _heating(self, event: HeatingSample) -> None:
        # An event of the next unit begins at 0 again.
        if 0.0 <= event.time_s - self._told_s < HEATING_EVERY_S:
            return
        self._told_s = event.time_s
        foretold = ""
        if event.foretold_rise_k is not None and event.foretold_uncertainty_k is not None:
            half_width_k = COVERAGE * event.foretold_uncertainty_k
            places = 1 if half_width_k >= 0.1 else 2
            foretold = f", will settle at {event.foretold_rise_k:.{places}f} ± {max(0.01, half_width_k):.{places}f} K"
        drive = f"{event.drive:g} {event.drive_unit}"
        say(f"    {drive}: rise {event.rise_k:.1f} K{foretold}; at most {event.left_s:.0f} s left")
