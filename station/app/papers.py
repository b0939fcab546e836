"""The papers of a lot, all at once: report, datasheet, causes, pick list of matched sets."""

import csv
from pathlib import Path

from station.app.causes import explain_lot_on_record
from station.app.datasheet import datasheet
from station.app.lot_report import lot_report
from station.app.matching import candidates, propose, set_names
from station.app.pick_list import proposed_picks, write_pick_list
from station.app.report_files import write_document
from station.app.set_wish import set_wish
from station.causes.explain import LotExplanation
from station.errors import RecordError
from station.records import Records
from station.records.export import spreadsheet_text
from station.records.placings import lot_pockets
from station.reports.datasheet import datasheet_document


def write_papers(records: Records, lot: str, folder: Path) -> tuple[tuple[str, Path], ...]:
    """Write a lot's papers into `folder`, which is made; return what each one is, with its file.

    Raises StationError if the lot can't be reported or a file can't be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RecordError(f"{folder}: can't be written: {error.strerror or error}.") from error
    papers = {
        "Lot report": folder / f"{lot}-report.pdf",
        "Datasheet": folder / f"{lot}-datasheet.pdf",
        "Causes": folder / f"{lot}-causes.csv",
        "Sets": folder / f"{lot}-sets.csv",
    }
    write_document(lot_report(records, lot), papers["Lot report"])
    write_document(datasheet_document(datasheet(records, lot)), papers["Datasheet"])
    write_causes(papers["Causes"], explain_lot_on_record(records, lot))
    wish = set_wish(records, (lot,), size=None, tolerances=())
    units = candidates(records, (lot,), wish.tolerances)
    found = propose(units, wish.size)
    picks = proposed_picks(units, found, set_names(records, lot, len(found.sets)), lot_pockets(records, (lot,)))
    write_pick_list(papers["Sets"], picks, units.quantities)
    return tuple(papers.items())


def write_causes(target: Path, found: LotExplanation) -> None:
    """Write a row a likeliest cause as CSV that is safe to open in a spreadsheet, most units first."""
    with target.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["cause", "not pass", "pass", "share", "expected units", "examples"])
        for each in found.table:
            examples = spreadsheet_text(" ".join(each.examples))
            writer.writerow([each.words, each.not_passed, each.passed, each.share, each.expected, examples])
