"""Documents set as PDF: read back, the same bytes, no markup from data, no font by accident."""

from dataclasses import replace
from datetime import UTC, datetime
from io import BytesIO

import pytest
from pypdf import PdfReader

from station.errors import StationError
from station.reports.document import Bullets, Caution, Document, Facts, Heading, Paragraph, Picture, Table
from station.reports.pdf import pdf_of

SVG = b'<svg xmlns="http://www.w3.org/2000/svg" width="40" height="20"><rect width="40" height="20" fill="blue"/></svg>'
DOCUMENT = Document(
    title="Lot report L2641",
    subtitle="Part IS-20",
    date_utc=datetime(2026, 11, 25, 8, 0, 0, 123456, tzinfo=UTC),
    blocks=(
        Heading("Counts"),
        Facts((("Pass", "58"),)),
        Table(("bin", "units"), (("low R", "11"),)),
        Paragraph("Population: all units."),
        Bullets(("one", "two")),
        Caution(("Coils get hot.",)),
        Picture(SVG, "A blue rectangle.", "Blue."),
    ),
    footer="Lot report L2641, part IS-20",
)


def read_text(pdf: bytes) -> str:
    """Return the text of all pages, spaces made plain."""
    return " ".join(" ".join(page.extract_text() for page in PdfReader(BytesIO(pdf)).pages).split())


def test_every_kind_of_block_is_read_back() -> None:
    """Nothing that a document says gets lost on paper."""
    words = ("Lot report L2641", "Counts", "58", "low R", "Population: all units.", "two", "CAUTION", "hot.", "Blue.")
    text = read_text(pdf_of(DOCUMENT))

    assert [] == [each for each in words if each not in text]


def test_same_document_gives_same_bytes() -> None:
    """No date of printing, no random name."""
    assert pdf_of(DOCUMENT) == pdf_of(replace(DOCUMENT))


def test_date_is_the_records() -> None:
    """A reader's properties show when the newest record was made."""
    found = PdfReader(BytesIO(pdf_of(DOCUMENT))).metadata

    assert found is not None
    assert ("Lot report L2641", "2026-11-25") == (found.title, str(found.creation_date)[:10])


def test_pdf_says_which_standards_it_keeps() -> None:
    """PDF/A-2a (ISO 19005-2) and PDF/UA-1 (ISO 14289-1), as its metadata declare."""
    # The standard wants this stream in the clear, for readers that know no compression.
    raw = pdf_of(DOCUMENT).decode("latin-1")

    assert "<pdfaid:part>2</pdfaid:part><pdfaid:conformance>A</pdfaid:conformance>" in raw
    assert "<pdfuaid:part>1</pdfuaid:part>" in raw
    assert "/Lang(en)" in raw.replace(" ", "")


def test_words_of_data_are_no_markup() -> None:
    """A reason may have any sign in it."""
    odd = "#panic() *bold* $x$ @ref <label> \\ _a_ // gone [b]"

    assert odd in read_text(pdf_of(replace(DOCUMENT, blocks=(Paragraph(odd),))))


@pytest.mark.parametrize("simulated", [True, False])
def test_simulated_stands_on_every_page(simulated: bool) -> None:
    """A page torn out can't be taken for a real one."""
    long = replace(DOCUMENT, blocks=tuple(Paragraph(f"line {i}") for i in range(120)), simulated=simulated)
    pages = PdfReader(BytesIO(pdf_of(long))).pages

    assert len(pages) > 1
    assert {simulated} == {"SIMULATED" in page.extract_text() for page in pages}


def test_unknown_font_is_refused() -> None:
    """The setter would take another one and only warn."""
    with pytest.raises(StationError, match="unknown font family: nowhere sans"):
        pdf_of(DOCUMENT, template='#set document(title: "x")\n#set text(font: "Nowhere Sans")\n#title()\nwords')


def test_mistake_of_a_template_is_named() -> None:
    """No traceback of a library."""
    with pytest.raises(StationError, match="unknown variable: nothing"):
        pdf_of(DOCUMENT, template="#nothing")


def test_row_of_a_table_needs_a_cell_a_header() -> None:
    """A missing cell would shift all that follow."""
    with pytest.raises(ValueError, match="needs 2 cells: bin, units"):
        Table(("bin", "units"), (("low R",),))
