"""What this lot hides: the shorted turn that is hardest to see in it."""

from dataclasses import dataclass

import numpy as np

from station.causes.kinds import CAUSES, Cause
from station.causes.observables import Drawn, L
from station.causes.signatures import signatures_of
from station.coil.geometry import FloatArray

SURE = 6.0
"""Standard deviations. At a prior of one in some thousands evidence takes four of them, and half of the units stand
on the wrong side of their own mean."""


@dataclass(frozen=True, slots=True)
class HardestTurn:
    """The single shorted turn (solid bridge) that stands least off the lot: its layer (0 top) and turn (1 innermost),
    by how many standard deviations of everything measured, and its share of L."""

    layer: int
    turn: int
    separation: float
    inductance_change: float

    @property
    def hard(self) -> bool:
        """Tell whether such a coil may well pass for a sound one."""
        return self.separation < SURE

    @property
    def words(self) -> str:
        """Say it."""
        says = (
            f"a short of turn {self.turn} (1 is the innermost) of layer {self.layer + 1} moves L by "
            f"{self.inductance_change:+.1%} and stands {self.separation:.1f} standard deviations off"
        )
        if self.hard:
            return f"{says}: hard to see, so 'no shorted turn' does not cover the innermost turns"
        return f"{says}: the hardest one, and it is seen"


def hardest_turn(drawn: Drawn, spread: FloatArray, present: np.ndarray) -> HardestTurn | None:
    """Return the hardest single turn for a spread (7,) and the observables that are there (7,); None without any."""
    table = signatures_of(drawn)
    shorted = table.cause == CAUSES.index(Cause.SHORTED_TURNS)
    chosen = [
        row
        for row in np.flatnonzero(shorted)
        if (place := table.places[row]) is not None and place.count == 1 and place.contact_ohm == 0
    ]
    if not chosen or not present.any():
        return None
    scores = (table.shift[chosen] / spread)[:, present]
    separation = np.sqrt((scores**2).sum(axis=1))
    least = chosen[int(separation.argmin())]
    place = table.places[least]
    assert place is not None  # chosen above for it
    return HardestTurn(place.layer, place.first + 1, float(separation.min()), float(np.expm1(table.shift[least, L])))
