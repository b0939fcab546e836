"""A pull list, as data: units of a lot to look at, why, by what means, and where on them."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class Means(StrEnum):
    """By what a unit is looked at."""

    MICROSCOPE = "microscope"
    X_RAY = "X-ray"
    SECTION = "micro-section"


@dataclass(frozen=True, slots=True)
class Pull:
    """A unit to look at. places: (layer, turn), 1 on top and 1 innermost, where widths are wanted. look: in words."""

    serial: str
    panel: str
    row: str
    column: str
    r20_ohm: float
    why: tuple[str, ...]
    means: tuple[Means, ...]
    look: tuple[str, ...]
    places: tuple[tuple[int, float], ...]

    @property
    def widths(self) -> bool:
        """Whether its widths are wanted."""
        return bool(self.places)


@dataclass(frozen=True, slots=True)
class PullList:
    """A lot's pull list. measured: units that it was chosen from. newest_utc: begin of the newest of their runs."""

    lot: str
    simulated: bool
    measured: int
    newest_utc: datetime
    pulls: tuple[Pull, ...]
