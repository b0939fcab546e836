"""The pull list on paper: which units to fetch and why, what to look at, and a form for what is measured."""

from collections.abc import Iterator, Sequence

from station.core.pull_list import Means, Pull, PullList
from station.reports.document import Block, Bullets, Caution, Document, Facts, Heading, Paragraph, Table
from station.reports.pictures import printed

_BLANK = "_" * 7
_REMARK = "_" * 16


def pull_document(found: PullList) -> Document:
    """Return the sheet. The same list gives the same bytes."""
    return Document(
        title=f"Pull list: lot {found.lot}",
        subtitle=f"{len(found.pulls)} units to look at, of {found.measured} measured ones.",
        date_utc=found.newest_utc,
        blocks=(*_list(found.pulls), *_how(found), *_form(found.pulls)),
        simulated=found.simulated,
        footer=f"Pull list: lot {found.lot}",
    )


def place_words(pull: Pull) -> str:
    """Return `03, A12`: panel, then row and column."""
    return ", ".join(each for each in (pull.panel, f"{pull.row}{pull.column}") if each)


def _list(pulls: Sequence[Pull]) -> Iterator[Block]:
    rows = tuple(
        (
            str(number),
            each.serial,
            place_words(each),
            printed(each.r20_ohm, "ohm"),
            "; ".join(each.why),
            ", ".join(each.means),
        )
        for number, each in enumerate(pulls, start=1)
    )
    yield Table(("", "unit", "panel, place", "R20", "why", "by"), rows, words=(1, 2, 4, 5))
    told = tuple(f"{each.serial}: {'; '.join(each.look)}." for each in pulls if each.look)
    if told:
        yield Heading("What to look for")
        yield Bullets(told)


def _how(found: PullList) -> Iterator[Block]:
    yield Heading("How")
    yield Bullets(
        (
            "Microscope: width of the track's top, and of its foot where the focus shows it; pitch, centre to centre "
            "over several turns, at one magnification: it tells the microscope's scale. Layer 1 is on top, turn 1 the "
            "innermost.",
            "X-ray: bridges and breaks, from above and tilted; vias.",
            "Micro-section (IPC-TM-650, 2.1.1), across the tracks: copper thickness, top and foot width. It destroys "
            "the unit: book it as scrapped, so that the lot's count adds up.",
            f"Enter the widths: coilgate lot copper {found.lot} --widths FILE.csv, or on the lot's page.",
        )
    )
    yield Caution(
        (
            "X-ray only in an interlocked cabinet, by people instructed in radiation protection.",
            "Grinding dust and resin: extraction, gloves, glasses; mind the resin maker's safety data sheet.",
        )
    )


def _form(pulls: Sequence[Pull]) -> Iterator[Block]:
    """A line a unit and layer, a pair of fields a turn: as few lines as keep each value where it belongs."""
    turns = sorted({turn for each in pulls for _, turn in each.places})
    if not turns:
        return
    yield Heading("Widths, \u00b5m")
    yield Facts(
        (
            ("Microscope", "_" * 30),
            ("Standard uncertainty", "_" * 12 + " \u00b5m"),
            ("Who, when", "_" * 30),
        )
    )
    headers = ("unit", "layer", *(f"turn {turn:g} {edge}" for turn in turns for edge in ("top", "foot")), "pitch")
    rows = tuple(
        (each.serial, str(layer), *[_BLANK] * (2 * len(turns) + 1))
        for each in pulls
        for layer in sorted({layer for layer, _ in each.places})
    )
    yield Table(headers, rows)
    sections = tuple((each.serial, _BLANK, _BLANK, _BLANK, _REMARK) for each in pulls if Means.SECTION in each.means)
    if sections:
        yield Heading("Sections, \u00b5m")
        yield Table(("unit", "copper thickness", "top", "foot", "remark"), sections, words=(0, 4))
    yield Paragraph("An empty field is a place that was not measured.")
