"""Which trays are being filled at a bench, kept over a restart: an audit entry for each label that is scanned.

The newest entry of a bin counts. A tray that is empty by now (shipped, say) is not taken up again by itself: somebody
must see which tray stands there.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from station.core.equipment import Bench
from station.core.places import TrayInUse, read_tray
from station.core.plan import Plan
from station.records import Records
from station.records.placings import tray_contents

IN_USE = "tray in use"
"""The audit entry's action; its words are what the label reads: `T7`, `2=T8`."""


@dataclass(frozen=True, slots=True)
class FilledTray:
    """A tray in use, and how many units lie in it by the records."""

    tray: TrayInUse
    units: int


def note_tray(records: Records, bench: Bench, tray: TrayInUse, *, who: str, utc: datetime) -> None:
    """Put on record that a tray is being filled at a bench from now on."""
    label = tray.tray if tray.bin_number is None else f"{tray.bin_number}={tray.tray}"
    records.audit(who=who or bench.name, action=IN_USE, subject=_subject(bench), why=label, utc=utc)


def trays_on_record(records: Records, bench: Bench) -> tuple[FilledTray, ...]:
    """Return the trays that were taken up last at a bench, one a bin, with what lies in them now."""
    newest: dict[int | None, TrayInUse] = {}
    for each in records.audit_entries(subject=_subject(bench), action=IN_USE):
        tray = read_tray(each.why)
        newest[tray.bin_number] = tray
    return tuple(FilledTray(each, len(tray_contents(records, each.tray))) for each in newest.values())


def resumed_words(trays: Iterable[FilledTray], plans: Iterable[Plan]) -> str:
    """Return what to say of them at a start: `Tray T7 is in use for units that pass, 12 of 96.`"""
    pockets = {each.trays.pockets for each in plans if each.trays is not None}
    most = pockets.pop() if len(pockets) == 1 else None  # plans that differ: which tray it is, its label doesn't say
    return " ".join(_words(each, most) for each in trays)


def _words(found: FilledTray, most: int | None) -> str:
    tray = found.tray
    if not found.units:
        return f"Tray {tray.tray} was in use and is empty now: scan the label of the tray that stands here."
    filled = f"{found.units} of {most}" if most else f"{found.units} unit{'' if found.units == 1 else 's'} in it"
    return f"Tray {tray.tray} is in use for {tray.words}, {filled}."


def _subject(bench: Bench) -> str:
    return f"trays of {bench.name}, nest {bench.nest}"
