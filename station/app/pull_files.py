"""The pull list written to a file: CSV, which is also the form that widths come back on; JSON facts."""

import csv
import io
import math

from station.app.facts import Fact
from station.core.pull_list import PullList
from station.records.export import spreadsheet_text

COLUMNS = ("serial", "panel", "row", "column", "layer", "turn", "top_um", "foot_um", "width_um", "pitch_um", "u_um")


def pull_csv(found: PullList) -> str:
    """Return a line a place, widths empty, safe to open in a spreadsheet; filled in, it is what `lot copper` reads."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([*COLUMNS, "by", "why", "look"])
    for each in found.pulls:
        texts = (", ".join(each.means), "; ".join(each.why), "; ".join(each.look))
        tail = [spreadsheet_text(text) for text in texts]
        head = [spreadsheet_text(text) for text in (each.serial, each.panel, each.row, each.column)]
        for layer, turn in each.places or (("", ""),):
            writer.writerow([*head, layer, turn if turn == "" else f"{turn:g}", *[""] * 5, *tail])
    return out.getvalue()


def pull_fact(found: PullList, *, recorded: bool) -> Fact:
    """Return the list as a plain dictionary."""
    return {
        "lot": found.lot,
        "simulated": found.simulated,
        "population": f"{found.measured} units of the lot with a measured R20, each by its latest run",
        "recorded": recorded,
        "units": [
            {
                "serial": each.serial,
                "panel": each.panel,
                "row": each.row,
                "column": each.column,
                "r20_ohm": each.r20_ohm if math.isfinite(each.r20_ohm) else None,
                "why": list(each.why),
                "by": [means.value for means in each.means],
                "look": list(each.look),
                "places": [{"layer": layer, "turn": turn} for layer, turn in each.places],
            }
            for each in found.pulls
        ],
    }
