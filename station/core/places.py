"""Where a decided unit goes besides its bin: a pocket of a tray. Pure words and data."""

import re
from dataclasses import dataclass

from station.errors import StationError

TRAY = re.compile(r"(?:(?P<bin>[0-9]{1,3})=)?(?P<tray>T-?[0-9]{1,4})")
"""What the label of a tray reads (our own code, as badges are): `T7`, or `2=T7` on one that is for bin 2 only."""


@dataclass(frozen=True, slots=True)
class Place:
    """A pocket; or `trouble`: why there is none. All empty: nobody asked for one."""

    tray: str = ""
    pocket: int = 0
    trouble: str = ""

    @property
    def words(self) -> str:
        """`tray T7, pocket 12`; empty without one."""
        return f"tray {self.tray}, pocket {self.pocket}" if self.tray else ""


NOWHERE = Place()


@dataclass(frozen=True, slots=True)
class TrayInUse:
    """A tray that is being filled. `bin_number` None: with every unit that passes and has no tray of its bin."""

    tray: str
    bin_number: int | None = None

    @property
    def words(self) -> str:
        """What goes into it."""
        return "units that pass" if self.bin_number is None else f"bin {self.bin_number}"


def read_tray(text: str) -> TrayInUse:
    """Return what `T7` or `2=T8` asks for. Raises StationError, saying what would be right.

    >>> read_tray("2=T8")
    TrayInUse(tray='T8', bin_number=2)
    """
    match = TRAY.fullmatch(text.strip())
    if match is None:
        raise StationError(
            f"{text[:40]!r} is no tray. A tray's label reads T and a number, such as T7 (for units that pass), "
            "or 2=T7 for one bin only."
        )
    number = match["bin"]
    return TrayInUse(match["tray"], None if number is None else int(number))


def tray_order(tray: str) -> tuple[int, str]:
    """Return what sorts trays as people count them: T2 before T10.

    >>> sorted(["T10", "T2"], key=tray_order)
    ['T2', 'T10']
    """
    digits = "".join(each for each in tray if each.isdigit())
    return int(digits or 0), tray
