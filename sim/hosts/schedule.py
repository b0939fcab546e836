"""The order of events over all instruments of a bench, the same behind every host."""

from collections.abc import Callable, Iterable
from math import inf

from sim.instrument import Emission, SimulatedInstrument

Deliver = Callable[[SimulatedInstrument, Emission], None]


class Schedule:
    """Advances the instruments that share a world, always the one that is due first.

    What is due is kept, for this is asked at every step of every host: a host calls `note` for an instrument
    that it has connected, disconnected or told something, or `note_all`. Instruments schedule nothing on each
    other.
    """

    def __init__(self, instruments: Iterable[SimulatedInstrument], deliver: Deliver) -> None:
        self.earliest_s = inf
        """When the next thing happens by itself on any instrument; infinite for never."""
        self._instruments = tuple(instruments)
        self._deliver = deliver
        self._places = {id(each): place for place, each in enumerate(self._instruments)}
        self._due_s = [inf] * len(self._instruments)
        self.note_all()

    def note(self, instrument: SimulatedInstrument) -> None:
        """Ask one instrument anew when it is due."""
        due_s = instrument.next_due()
        self._due_s[self._places[id(instrument)]] = inf if due_s is None else due_s
        self.earliest_s = min(self._due_s)

    def note_all(self) -> None:
        """Ask every instrument anew."""
        for instrument in self._instruments:
            self.note(instrument)

    def run_to(self, now_s: float) -> None:
        """Let all that is due by `now_s` happen, in order of time; a tie goes by the instruments' order."""
        times_s = self._due_s
        while (earliest_s := self.earliest_s) <= now_s:
            place = times_s.index(earliest_s)
            instrument = self._instruments[place]
            emissions = instrument.advance(earliest_s)
            due_s = instrument.next_due()
            times_s[place] = inf if due_s is None else due_s
            self.earliest_s = min(times_s)
            for emission in emissions:
                self._deliver(instrument, emission)
