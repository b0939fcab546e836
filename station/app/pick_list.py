"""A pick list: which unit goes into which set, in the order in which a person walks along the trays."""

import csv
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from station.app.assembling import trouble_of
from station.app.matching import Candidates, Quantity, RecordedSet
from station.core.places import tray_order
from station.quality.sets import MatchedSets
from station.records import Records
from station.records.export import spreadsheet_text
from station.records.placings import lot_pockets
from station.reports.document import Document, Paragraph, Table

_UNPLACED = 10**9


@dataclass(frozen=True, slots=True)
class Pick:
    """One unit to take. `tray` is empty, `pocket` 0 where it is not known; `place` counts within the set, from 1."""

    tray: str
    pocket: int
    serial: str
    set_name: str
    place: int
    values: tuple[float, ...] = ()
    """Of the quantities that the sets agree in, in their units; empty if not asked for."""
    trouble: str = ""
    """Why it must not go into its set now; empty: it may."""


def proposed_picks(
    units: Candidates, found: MatchedSets, names: Sequence[str], pockets: Mapping[str, tuple[str, int]]
) -> tuple[Pick, ...]:
    """Return the picks of proposed sets, in walking order. `pockets`: (tray, pocket) by serial, where known."""
    return walking_order(
        Pick(*pockets.get(units.serials[i], ("", 0)), units.serials[i], name, place, tuple(units.values[i].tolist()))
        for name, members in zip(names, found.sets, strict=True)
        for place, i in enumerate(members, start=1)
    )


def recorded_picks(records: Records, sets: Sequence[RecordedSet]) -> tuple[Pick, ...]:
    """Return the picks of sets on record, in walking order; units that are good no more say so."""
    pockets = lot_pockets(records, sorted({lot for each in sets for lot in each.lots}))
    return walking_order(
        Pick(*pockets.get(serial, ("", 0)), serial, each.name, place, trouble=trouble_of(records, serial))
        for each in sets
        for place, serial in enumerate(each.serials, start=1)
    )


def walking_order(picks: Iterable[Pick]) -> tuple[Pick, ...]:
    """Return picks tray by tray and pocket by pocket, so that each tray is taken up once; those without come last.

    Without any pocket the order is that of the serials, which is that of the panels.
    """

    def order(pick: Pick) -> tuple[tuple[int, str], int, str]:
        return (tray_order(pick.tray) if pick.tray else (_UNPLACED, "")), pick.pocket, pick.serial

    return tuple(sorted(picks, key=order))


def trouble_words(picks: Sequence[Pick]) -> str:
    """Say how many units must not go into their sets; empty if all may."""
    count = sum(bool(each.trouble) for each in picks)
    return f"{count} {'unit is' if count == 1 else 'units are'} good no more: leave them out." if count else ""


def write_pick_list(target: Path, picks: Sequence[Pick], quantities: Sequence[Quantity]) -> None:
    """Write a row a unit as CSV, safe in a spreadsheet: tray, pocket, serial, set, place, trouble, values (SI)."""
    heads = [f"{each.characteristic} [{each.unit_symbol}]" for each in quantities]
    with target.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["tray", "pocket", "serial", "set", "place", "trouble", *heads])
        for each in picks:
            texts = [spreadsheet_text(text) for text in (each.serial, each.set_name)]
            lies = [spreadsheet_text(each.tray), each.pocket or ""]
            writer.writerow([*lies, *texts, each.place, each.trouble, *each.values])


def pick_document(picks: Sequence[Pick], lot: str, *, date_utc: datetime, simulated: bool) -> Document:
    """Return the pick list on paper."""
    sets, trays = {each.set_name for each in picks}, {each.tray for each in picks if each.tray}
    unplaced = sum(not each.tray for each in picks)
    words = f"{len(picks)} units into {len(sets)} sets, in the order of {len(trays)} trays and their pockets."
    if unplaced:
        words += f" {unplaced} units have no pocket on record and stand last, by serial."
    words += f" {said} The last column says why." if (said := trouble_words(picks)) else ""
    rows = tuple(
        (each.tray or "–", str(each.pocket or "–"), each.serial, each.set_name, str(each.place), each.trouble)
        for each in picks
    )
    return Document(
        title=f"Pick list of lot {lot}",
        subtitle="Put each unit into the bag of its set; scan the bag when it is full.",
        date_utc=date_utc,
        blocks=(
            Paragraph(words),
            Table(("tray", "pocket", "unit", "set", "place in the set", "done"), rows, words=(0, 2, 3, 5)),
        ),
        simulated=simulated,
        footer=f"Pick list of lot {lot}",
    )
