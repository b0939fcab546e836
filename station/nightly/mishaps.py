"""The simulated operator's hands, and how they go wrong."""

from dataclasses import dataclass

from station.app.hands import SimulatedHands
from station.errors import BenchError

SPACER_OFF_M = 0.5e-3
"""A spacer of the next size: the height is off by so much."""


@dataclass(slots=True)
class ScriptedHands:
    """The simulated operator's hands, with a mind of their own for the present unit."""

    hands: SimulatedHands
    loads: str = ""
    """Loaded instead of what was asked for."""
    idle: bool = False
    spacer_off_m: float = 0.0

    def unload(self) -> None:
        """Empty the nest, or forget to."""
        if not self.idle:
            self.hands.unload()

    def load(self, serial: str) -> None:
        """Load the unit, or another, or leave the nest as it is."""
        if not self.idle:
            self.hands.load(self.loads or serial)

    def place_spacer(self, height_m: float) -> None:
        """Place the spacer, or the wrong one."""
        self.hands.place_spacer(height_m + self.spacer_off_m)

    def put_right(self) -> None:
        """Close what was opened, release the hand stop, do as told from now on."""
        self.loads, self.idle, self.spacer_off_m = "", False, 0.0
        for words in ("GUARD CLOSED", "HANDSTOP OFF"):
            self.hands.say(words)

    def swap(self, other: str) -> None:
        """Take the unit out and put another in."""
        self.hands.unload()
        try:
            self.hands.load(other)
        except BenchError:  # nothing to put in: the nest stays empty
            return
