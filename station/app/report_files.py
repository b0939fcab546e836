"""Reports written to files, which appear whole or not at all."""

from pathlib import Path

from station.errors import StationError
from station.reports.document import Document
from station.reports.html_page import html_of
from station.reports.pdf import pdf_of

SETTERS = {".pdf": pdf_of, ".html": html_of}
"""By the file's ending."""


def check_ending(target: Path) -> None:
    """Refuse a file that no report can be, before anything is worked out. Raises StationError."""
    if target.suffix.lower() not in SETTERS:
        raise StationError(f"{target}: a report ends in .pdf or .html.")


def write_document(document: Document, target: Path) -> None:
    """Write a report as PDF or HTML, by the file's ending. Raises StationError if it can't be set or written."""
    check_ending(target)
    write_bytes(SETTERS[target.suffix.lower()](document), target)


def write_bytes(written: bytes, target: Path) -> None:
    """Write a file whole or not at all. Raises StationError if it can't be written."""
    unfinished = target.with_name(target.name + ".part")
    try:
        unfinished.write_bytes(written)
        unfinished.replace(target)
    except OSError as error:
        raise StationError(f"{target}: can't be written: {error.strerror or error}.") from error
    finally:
        unfinished.unlink(missing_ok=True)
