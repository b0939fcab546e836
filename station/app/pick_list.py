"""A pick list: which unit goes into which set, as a CSV that is safe to open in a spreadsheet."""

import csv
from collections.abc import Sequence
from pathlib import Path

from station.app.matching import Candidates
from station.quality.sets import MatchedSets
from station.records.export import spreadsheet_text


def write_pick_list(target: Path, units: Candidates, found: MatchedSets, names: Sequence[str]) -> None:
    """Write a row a unit, in order of serial (which is the order of the panels): serial, set, values in SI units."""
    heads = [f"{each.characteristic} [{each.unit_symbol}]" for each in units.quantities]
    rows = sorted(
        (units.serials[i], name, *units.values[i].tolist())
        for name, members in zip(names, found.sets, strict=True)
        for i in members
    )
    with target.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["serial", "set", *heads])
        for serial, name, *values in rows:
            writer.writerow([spreadsheet_text(serial), spreadsheet_text(name), *values])
