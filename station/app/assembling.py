"""A set put together by hand: are these the units that the record says, and are they still good?"""

from collections.abc import Sequence
from dataclasses import dataclass

from station.app.matching import sets_on_record
from station.core.results import Decision
from station.errors import RecordError
from station.records import Records


@dataclass(frozen=True, slots=True)
class Assembly:
    """What came of comparing scanned serials with a recorded set."""

    name: str
    """Of the set: the one that most of the scanned units belong to."""
    serials: tuple[str, ...]
    """Of the set, as recorded."""
    wrong: tuple[tuple[str, str], ...]
    """(serial, why) of scanned units that don't belong into it."""
    missing: tuple[str, ...]
    """Units of the set that were not scanned."""

    @property
    def complete(self) -> bool:
        """Whether exactly the units of the set were scanned, and all are good."""
        return not self.wrong and not self.missing


def assemble(records: Records, scanned: Sequence[str]) -> Assembly:
    """Return how scanned serials compare with the recorded set that most of them are in.

    A unit that is held, or passes no more, is wrong even in its own set. Raises RecordError if none is in a set.
    """
    sets = sets_on_record(records)
    home = {serial: name for name, members in sets.items() for serial in members}
    found = [home[serial] for serial in scanned if serial in home]
    if not found:
        raise RecordError("none of these units is in a recorded set. Look at the serials, or make sets first.")
    # With as many of one set as of another, the first scanned decides.
    name = max(dict.fromkeys(found), key=found.count)
    members = sets[name]
    wrong = []
    for place, serial in enumerate(scanned):
        if serial in scanned[:place]:
            wrong.append((serial, "scanned twice"))
        elif serial not in members:
            wrong.append((serial, f"belongs to set {home[serial]}" if serial in home else "is in no set"))
        elif trouble := _trouble(records, serial):
            wrong.append((serial, trouble))
    return Assembly(name, members, tuple(wrong), tuple(each for each in members if each not in scanned))


def _trouble(records: Records, serial: str) -> str:
    state = records.unit_state(serial)
    if state is None or state.decision is not Decision.PASS:
        return "passes no more: set it aside"
    return "is held: set it aside" if state.held else ""
