"""What people put a lot's recorded sets together with: the pick list on paper, and the labels of the sets."""

from pathlib import Path

from station.app.lot_samples import lot_standing
from station.app.matching import recorded_sets
from station.app.pick_list import pick_document, recorded_picks
from station.app.report_files import write_bytes, write_document
from station.app.set_labels import set_labels
from station.records import Records


def write_set_papers(records: Records, lot: str, folder: Path) -> tuple[tuple[str, Path], ...]:
    """Write pick list and labels of a lot's recorded sets into `folder`; return what each one is, with its file.

    Raises StationError if there is no set on record or a file can't be written.
    """
    papers = {"Pick list": folder / f"{lot}-pick.pdf", "Labels": folder / f"{lot}-labels.pdf"}
    sheets, _ = set_labels(records, lot)
    sets = recorded_sets(records, lot=lot)
    simulated, newest = lot_standing(records, lot).simulated, max(each.utc for each in sets)
    document = pick_document(recorded_picks(records, sets), lot, date_utc=newest, simulated=simulated)
    write_document(document, papers["Pick list"])
    write_bytes(sheets, papers["Labels"])
    return tuple(papers.items())
