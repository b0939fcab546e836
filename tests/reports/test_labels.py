"""Sheets of labels: what a scanner reads is what was meant, and people can read it too."""

from datetime import UTC, datetime
from io import BytesIO

import pytest
import typst
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from station.core.set_label import SetLabel, read_set_label, set_label_text
from station.reports.codes import CodeError, data_matrix
from station.reports.labels import Label, label_document, label_sheet, template
from station.reports.pdf import inputs_of
from tests.reports.test_pdf import read_text

DAY = datetime(2026, 11, 25, 8, tzinfo=UTC)
SERIALS = ("L2641-01-A01", "L2641-02-B07", "L2641-02-H11")


def _set_text(name: str = "L2641-S0001", *, serials: tuple[str, ...] = SERIALS) -> str:
    return set_label_text(
        name, serials, lots=("L2641",), part="IS-20", values="R20 7.981 ohm to 8.012 ohm", simulated=True
    )


def _printed(labels: list[Label]) -> Image.Image:
    """The first sheet as a printer of 300 dots an inch has it."""
    document = label_document(labels, title="Labels", date_utc=DAY, simulated=True)
    files = {"main": template().encode(), **inputs_of(document)}
    made = typst.compile(files, format="png", ppi=300, ignore_system_fonts=True)  # type: ignore[call-overload]
    first = made if isinstance(made, bytes) else made[0]
    return Image.open(BytesIO(bytes(first)))


@pytest.mark.slow
def test_every_code_of_a_printed_sheet_is_read_back() -> None:
    """Sets and bags, the long codes and the short ones, at a printer's resolution."""
    texts = [_set_text(f"L2641-S{i:04d}") for i in range(1, 12)] + [f"L2641-01-A{i:02d}" for i in range(1, 11)]
    sheet = _printed([Label(each, (each[:16], "IS-20")) for each in texts])

    assert sorted(texts) == sorted(each.text for each in zxingcpp.read_barcodes(sheet))


def test_sheet_says_in_words_what_it_is_and_that_it_is_simulated() -> None:
    """21 labels a sheet, each with its mark."""
    labels = [Label(f"S{i}", (f"L2641-S{i:04d}", "IS-20, lot L2641")) for i in range(1, 23)]
    text = read_text(label_sheet(labels, title="Labels of sets", date_utc=DAY, simulated=True))

    assert [] == [each.lines[0] for each in labels if each.lines[0] not in text]
    assert 22 == text.count("SIMULATED")


def test_same_labels_give_same_bytes() -> None:
    """No date of printing."""
    labels = [Label("A", ("A", "B"))]

    assert label_sheet(labels, title="x", date_utc=DAY, simulated=False) == label_sheet(
        labels, title="x", date_utc=DAY, simulated=False
    )


@pytest.mark.parametrize("length", [1, 12, 60, 125, 200])
def test_codes_are_square(length: int) -> None:
    """Whatever their length: a drawing takes their height for their width, and old scanners know squares only."""
    modules = data_matrix(("set L2641-S0001; lot L2641, " * 8)[:length])

    assert {len(modules)} == {len(row) for row in modules}


def test_code_that_no_scanner_types_is_refused() -> None:
    """Printable ASCII only."""
    with pytest.raises(CodeError):
        label_sheet([Label("Ω", ("x",))], title="x", date_utc=DAY, simulated=False)


def test_set_code_says_set_units_range_and_mark() -> None:
    """And gives the set back."""
    text = _set_text()

    assert (
        "set L2641-S0001; lot L2641; part IS-20; units L2641-01-A01, L2641-02-B07, L2641-02-H11; "
        "R20 7.981 ohm to 8.012 ohm; SIMULATED" == text
    )
    assert SetLabel("L2641-S0001", SERIALS) == read_set_label(text)


def test_set_that_is_too_big_for_its_code_counts_its_units() -> None:
    """The code stays short enough to be printed; the record has the serials."""
    text = _set_text(serials=tuple(f"L2641-01-A{i:02d}" for i in range(40)))

    assert "40 units" in text
    assert 200 >= len(text)
    assert SetLabel("L2641-S0001") == read_set_label(text)


def test_serial_with_the_codes_own_marks_is_not_put_into_it() -> None:
    """It would be read back as two."""
    assert SetLabel("L2641-S0001") == read_set_label(_set_text(serials=("A,1", "B")))


@given(
    serials=st.lists(st.text("ABCDEFL0123456789-_./ ", min_size=1, max_size=16).map(str.strip).filter(bool), max_size=8)
)
def test_units_of_a_code_are_read_back_or_none(serials: list[str]) -> None:
    """Whole, or not at all: never some of them."""
    found = read_set_label(_set_text(serials=tuple(serials)))

    assert found is not None
    assert found.serials in (tuple(serials), ())


@pytest.mark.parametrize("text", ["L2641-01-A01", "set", "set L2641-S0001", "; ; ;", ""])
def test_what_is_no_set_code_is_none(text: str) -> None:
    """A serial is a serial."""
    assert read_set_label(text) is None
