"""The report of a study on the bench, as `coilgate gauge study --report` writes it of a file."""

from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

from station.app.report_files import check_ending, write_document
from station.app.study_results import FinishedStudy, StudyResult, csv_text, in_readable_unit, targets_of
from station.errors import StationError
from station.reports.document import Document
from station.reports.gauge_report import StudySource, crossed_document, type1_document


def write_reports(study: FinishedStudy, target: Path) -> tuple[Path, ...]:
    """Write a report a characteristic as .pdf or .html, by the file's ending; return the files.

    Raises StationError for another ending, for readings that have no statistics, and for what can't be written.
    """
    check_ending(target)
    targets = targets_of(study, target)
    for path, result in zip(targets, study.results, strict=True):
        write_document(document_of(study, result, path.with_suffix(".csv").name), path)
    return targets


def document_of(study: FinishedStudy, result: StudyResult, file: str) -> Document:
    """Return the report of one characteristic; `file` is what its readings as CSV are called.

    Its digest is that of the CSV that `csv_text` gives: who has the file can prove that the report is of it.
    """
    setup = study.setup
    unit, shown = in_readable_unit(setup, result)
    why = f" ({setup.why})" if setup.why else ""
    source = StudySource(
        file=file,
        digest=sha256(csv_text(study, result).encode()).hexdigest(),
        about=f"{shown.studied.name} in {unit}, study {setup.name} on {setup.bench}, nest {setup.nest}{why}",
        date_utc=study.newest_utc,
        simulated=setup.simulated,
        lower=shown.studied.lower,
        upper=shown.studied.upper,
    )
    make = _document_of(shown)
    if make is None:
        raise StationError(f"study {setup.name}, {shown.studied.name}: {shown.trouble or 'there are no limits'}")
    return make(source)


def _document_of(shown: StudyResult) -> Callable[[StudySource], Document] | None:
    crossed, type1 = shown.crossed, shown.type1
    if crossed is not None:
        return lambda source: crossed_document(crossed, source)
    if type1 is not None:
        return lambda source: type1_document(type1, shown.system, shown.values.ravel(), source)
    return None
