"""Documents as one HTML file."""

from dataclasses import replace

from station.reports.document import Paragraph
from station.reports.html_page import html_of
from tests.reports.test_pdf import DOCUMENT


def test_page_stands_alone() -> None:
    """Nothing is fetched and nothing runs: no script, no address."""
    page = html_of(DOCUMENT).decode()

    assert "<script" not in page
    assert "http" not in page
    assert 'alt="A blue rectangle."' in page


def test_words_of_data_are_no_markup() -> None:
    """A reason may have any sign in it."""
    page = html_of(replace(DOCUMENT, blocks=(Paragraph('<b onload="x">&'),))).decode()

    assert "<p>&lt;b onload=&quot;x&quot;&gt;&amp;</p>" in page


def test_simulated_is_marked() -> None:
    """As on paper."""
    assert b"SIMULATED" in html_of(replace(DOCUMENT, simulated=True))
    assert b"SIMULATED" not in html_of(DOCUMENT)
