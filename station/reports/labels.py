"""Labels to stick on bags and sets: a code for the scanner and a few words for people, in sheets to print.

A sheet has three labels across and seven down, 63.5 mm by 38.1 mm each. Print at 100 %.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from importlib.resources import files

from station.reports.codes import code_path, data_matrix
from station.reports.document import Document, Picture
from station.reports.pdf import pdf_of

MOST_LABELS = 5_000
LABEL_MARK = "SIMULATED"
"""On each label of simulated units; the report's long one has no room."""


@dataclass(frozen=True, slots=True)
class Label:
    """One label. `code` is what a scanner types; the first of `lines` is printed large."""

    code: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Sheet(Document):
    """A document whose mark is short enough for a label."""

    @property
    def mark(self) -> str:
        return LABEL_MARK if self.simulated else ""


def label_sheet(labels: Sequence[Label], *, title: str, date_utc: datetime, simulated: bool) -> bytes:
    """Return sheets of labels as PDF; the same bytes for the same labels.

    Raises:
        CodeError: a code can't be made; see `data_matrix`.
        StationError: the setter refuses.
    """
    return pdf_of(label_document(labels, title=title, date_utc=date_utc, simulated=simulated), template=template())


def label_document(labels: Sequence[Label], *, title: str, date_utc: datetime, simulated: bool) -> Document:
    """Return the labels as a document of pictures, for `template`."""
    blocks = tuple(Picture(_drawn(each.code), f"Code: {each.code}", "\n".join(each.lines)) for each in labels)
    return _Sheet(title=title, subtitle="", date_utc=date_utc, blocks=blocks, simulated=simulated)


def template() -> str:
    """Return the sheet's layout, typst source."""
    return files("station.reports").joinpath("labels.typ").read_text(encoding="utf-8")


def _drawn(text: str) -> bytes:
    path, side = code_path(data_matrix(text))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side} {side}" width="{side}" height="{side}" '
        f'shape-rendering="crispEdges"><rect width="{side}" height="{side}" fill="#fff"/><path d="{path}"/></svg>'
    ).encode()
