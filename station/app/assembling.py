"""A set put together by hand: are these the units that the record says, and are they still good?"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from station.app.matching import sets_on_record
from station.core.results import Decision
from station.core.set_label import SetLabel, read_set_label
from station.errors import RecordError
from station.records import Records
from station.records.placings import Placing, placing_of, take_out


@dataclass(frozen=True, slots=True)
class Assembly:
    """What came of comparing scanned serials with a recorded set."""

    name: str
    """Of the set: the one on the scanned label, or that most of the scanned units belong to."""
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


def assemble(records: Records, scans: Sequence[str]) -> Assembly:
    """Return how scanned serials compare with a recorded set: that of the label among the scans, else of most units.

    A unit that is held, or passes no more, is wrong even in its own set. Raises RecordError if none is in a set, or for
    labels of two sets, or one that doesn't say what is on record.
    """
    sets = sets_on_record(records)
    labels = [label for each in scans if (label := read_set_label(each)) is not None]
    scanned = [each for each in scans if read_set_label(each) is None]
    home = {serial: name for name, members in sets.items() for serial in members}
    name = _labelled(labels, sets) or _of_most(scanned, home)
    members = sets[name]
    wrong = []
    for place, serial in enumerate(scanned):
        if serial in scanned[:place]:
            wrong.append((serial, "scanned twice"))
        elif serial not in members:
            wrong.append((serial, f"belongs to set {home[serial]}" if serial in home else "is in no set"))
        elif trouble := trouble_of(records, serial):
            wrong.append((serial, trouble))
    return Assembly(name, members, tuple(wrong), tuple(each for each in members if each not in scanned))


def _labelled(labels: Sequence[SetLabel], sets: Mapping[str, tuple[str, ...]]) -> str:
    """The set that the scanned labels name; empty without a label."""
    names = list(dict.fromkeys(each.name for each in labels))
    if len(names) > 1:
        raise RecordError(f"labels of {' and '.join(names)} were scanned. One set after the other, please.")
    for each in labels:
        if each.name not in sets:
            raise RecordError(f"set {each.name} is not on record. Look at the label, or at --home.")
        if each.serials and set(each.serials) != set(sets[each.name]):
            raise RecordError(f"the label of set {each.name} names other units than the record. Print it again.")
    return names[0] if names else ""


def _of_most(scanned: Sequence[str], home: Mapping[str, str]) -> str:
    found = [home[serial] for serial in scanned if serial in home]
    if not found:
        raise RecordError("none of these units is in a recorded set. Look at the serials, or make sets first.")
    # With as many of one set as of another, the first scanned decides.
    return max(dict.fromkeys(found), key=found.count)


def take_out_of_trays(records: Records, found: Assembly, *, who: str, utc: datetime) -> tuple[Placing, ...]:
    """Put on record that the units of a complete set have left their trays; return where they lay.

    Raises RecordError if the set is not complete.
    """
    if not found.complete:
        raise RecordError(f"set {found.name} is not complete: its units stay where they are.")
    placed = [each for each in found.serials if placing_of(records, each) is not None]
    return take_out(records, placed, who=who, why=f"set {found.name}", utc=utc)


def trouble_of(records: Records, serial: str) -> str:
    """Return why a unit of a recorded set must not go into it now, and what to do; empty if it may."""
    state = records.unit_state(serial)
    if state is None or state.decision is not Decision.PASS:
        return "passes no more: set it aside"
    if state.held:
        return "is held: set it aside"
    life = records.lot_life(state.unit.lot)
    if serial in life.scrapped:
        return "is scrapped: put it into the scrap box"
    return "" if life.hold is None else f"is of lot {life.lot}, which is held: set it aside"
