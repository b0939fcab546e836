"""Findings on copper from files and short texts: every mistake by its line and column."""

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.app.copper_files import COLUMNS, coupon_row, read_rows, width_row
from station.app.copper_rows import CopperKind, CouponRow, SectionRow, WidthRow, as_entry, from_entry
from station.errors import StationError, StudyError

WIDTHS = "serial,layer,turn,top_um,foot_um,u_um\n"
COUPONS = "panel,width_um,length_mm,resistance_ohm,temperature_degc,u_ohm\n"
SECTIONS = "serial,panel,thickness_um,u_um\n"


def test_widths_are_read_in_si() -> None:
    """Micrometres become metres, an empty optional field is none."""
    found = read_rows(CopperKind.WIDTHS, WIDTHS + "L2641-01-A01,1,10.5,112,,1\n", "w.csv")

    assert (WidthRow("L2641-01-A01", 1, 10.5, 1e-6, 112e-6),) == found


def test_places_of_a_pull_list_that_nobody_measured_are_passed_over() -> None:
    """A line with nothing but where: it is no mistake, and no row."""
    text = "serial,layer,turn,top_um,foot_um,width_um,pitch_um,u_um,why\nA,1,1,,,,,,lowest\nA,1,10,112,,,,1,lowest\n"

    assert (WidthRow("A", 1, 10.0, 1e-6, 112e-6),) == read_rows(CopperKind.WIDTHS, text, "w.csv")


def test_semicolons_and_decimal_commas_are_read() -> None:
    """As spreadsheets of many countries write them."""
    text = "panel;coupon;width_um;length_mm;resistance_ohm;temperature_degc;u_ohm\n03;A;100;50;0,5231;-3,5;0,0005\n"

    assert (CouponRow("03", 100e-6, 50e-3, 0.5231, -3.5, 0.0005, "A"),) == read_rows(CopperKind.COUPONS, text, "c.csv")


@pytest.mark.parametrize(
    ("kind", "text", "expected"),
    [
        (CopperKind.WIDTHS, WIDTHS + "A,1,1,110,,1\nA,1,2,x,,1\n", "w.csv:3: top_um: must be a number"),
        (CopperKind.WIDTHS, WIDTHS + "A,1,1,,,1\n", "w.csv:2: top_um: needs a width"),
        (CopperKind.WIDTHS, WIDTHS + "A,1.5,1,110,,1\n", "w.csv:2: layer: must be a whole number"),
        (CopperKind.WIDTHS, WIDTHS + "A,1,1,110,,\n", "w.csv:2: u_um: is empty"),
        (CopperKind.WIDTHS, WIDTHS + ",1,1,110,,1\n", "w.csv:2: serial: is empty"),
        (CopperKind.WIDTHS, WIDTHS + "A,1,1,-3,,1\n", "w.csv:2: top_um: must be above 0"),
        (CopperKind.WIDTHS, WIDTHS + "A,1,1,190,120,1\n", "w.csv:2: top_um: is far above foot_um"),
        (CopperKind.WIDTHS, "serial,layer\nA,1\n", "w.csv:1: turn: no such column"),
        (CopperKind.COUPONS, COUPONS + "03,100,50,0,23,0.001\n", "w.csv:2: resistance_ohm: must be above 0"),
        (CopperKind.COUPONS, COUPONS + "03,100,50,9.9e37,23,0.001\n", "w.csv:2: resistance_ohm: is an overload"),
        (CopperKind.SECTIONS, SECTIONS + "A,03,17.5,0.3\n", "w.csv:2: serial: a section is of a unit"),
        (CopperKind.SECTIONS, SECTIONS + ",,17.5,0.3\n", "w.csv:2: serial: a section is of a unit"),
        (CopperKind.SECTIONS, "panel,thickness_um,u_um,layer\n03,17.5,0.3,1\n", "w.csv:2: layer: layer and turn"),
    ],
)
def test_mistake_names_line_and_column(kind: CopperKind, text: str, expected: str) -> None:
    """File, line, column, what would be right."""
    with pytest.raises(StudyError) as caught:
        read_rows(kind, text, "w.csv")

    assert str(caught.value.mistakes[0]).startswith(expected)


def test_all_mistakes_come_at_once_in_order_of_line() -> None:
    """Three lines wrong: three mistakes, none hides another."""
    text = WIDTHS + "A,1,1,x,,1\nA,1,1,110,,1\n,1,1,110,,1\nA,1,1,110,,0\n"
    with pytest.raises(StudyError) as caught:
        read_rows(CopperKind.WIDTHS, text, "w.csv")

    assert [2, 4, 5] == [each.line for each in caught.value.mistakes]


def test_section_of_a_panel_is_read() -> None:
    """With the width of a track in it, by layer and turn."""
    text = "panel,thickness_um,u_um,layer,turn,top_um,foot_um\n03,17.5,0.3,1,4,108,118\n"

    assert (SectionRow(17.5e-6, 0.3e-6, "", "03", 1, 4.0, 108e-6, 118e-6),) == read_rows(
        CopperKind.SECTIONS, text, "s.csv"
    )


def test_place_on_the_command_line_is_a_row() -> None:
    """Layer and turn, then widths with their unit."""
    found = width_row("A", "2/10.5: top 112 um, foot 0.121 mm pitch 240um", 1e-6)

    assert WidthRow("A", 2, 10.5, 1e-6, 112e-6, 121e-6, None, 240e-6) == found


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("10 top 112 um", "LAYER/TURN"),
        ("1/10", "needs top, foot or width"),
        ("1/10 pitch 240 um", "needs top, foot or width"),
        ("1/10 edge 112 um", "say top, foot, width or pitch"),
        ("1/10 top 112 ohm", "top"),
        ("1/10 top -112 um", "must be above 0"),
    ],
)
def test_place_that_is_none_is_refused(text: str, words: str) -> None:
    """With what would be right."""
    with pytest.raises(StationError, match=words):
        width_row("A", text, 1e-6)


def test_coupon_on_the_command_line_is_a_row() -> None:
    """Panel, drawn width and length, resistance, temperature."""
    assert CouponRow("03", 100e-6, 50e-3, 0.523, 23.1, 5e-4) == coupon_row(
        "03: 100 um, 50 mm, 0.523 ohm, 23.1 degC", 5e-4
    )
    assert "L2641-03-A01" == coupon_row("03 beside L2641-03-A01: 100 um, 50 mm, 0.5 ohm, 23 degC", 5e-4).near
    with pytest.raises(StationError, match="PANEL: WIDTH"):
        coupon_row("03: 100 um, 50 mm", 5e-4)


@given(st.sampled_from(CopperKind), st.text(max_size=200))
def test_no_text_gives_a_traceback(kind: CopperKind, text: str) -> None:
    """Whatever is in a file: rows, or mistakes in words."""
    header = ",".join(each.name for each in COLUMNS[kind])
    with suppress(StudyError):
        read_rows(kind, f"{header}\n{text}", "f.csv")


def test_row_comes_back_from_the_records_as_it_went() -> None:
    """Empty fields are left out and come back empty."""
    for row in (
        WidthRow("A", 1, 2.0, 1e-6, 1e-4),
        CouponRow("03", 1e-4, 0.05, 0.5, 23.0, 1e-3),
        SectionRow(1.7e-5, 3e-7, "A"),
    ):
        assert row == from_entry(row.kind, as_entry(row))
