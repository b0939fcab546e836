"""The order of events over all instruments of a bench, the same behind every host."""

from collections.abc import Callable, Iterable

from sim.instrument import Emission, SimulatedInstrument

Deliver = Callable[[SimulatedInstrument, Emission], None]


class Schedule:
    """Advances the instruments that share a world, always the one that is due first."""

    def __init__(self, instruments: Iterable[SimulatedInstrument], deliver: Deliver) -> None:
        self._instruments = tuple(instruments)
        self._deliver = deliver

    def next_due(self) -> float | None:
        """Return when the next thing happens by itself on any instrument; None for never."""
        earliest = None
        for instrument in self._instruments:
            due_s = instrument.next_due()
            if due_s is not None and (earliest is None or due_s < earliest):
                earliest = due_s
        return earliest

    def run_to(self, now_s: float) -> None:
        """Let all that is due by `now_s` happen, in order of time; a tie goes by the instruments' order."""
        while True:
            earliest = now_s
            first = None
            for instrument in self._instruments:
                due_s = instrument.next_due()
                if due_s is not None and (due_s < earliest or (first is None and due_s <= now_s)):
                    earliest, first = due_s, instrument
            if first is None:
                return
            for emission in first.advance(earliest):
                self._deliver(first, emission)
