"""What a scan is, before anything is done with it."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.core.plan_file import parse_plan
from station.core.scans import Scan, ScanKind, group_end, recognise
from tests.core.examples import IS_20_TEXT

PLAN = parse_plan(IS_20_TEXT, "IS-20.toml")


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("L2641-01-A01", ScanKind.UNIT),
        ("  L2641-01-A01\r\n", ScanKind.UNIT),
        ("L2641", ScanKind.LOT),
        ("L2641-01", ScanKind.PANEL),
        ("OP-07", ScanKind.BADGE),
        ("EN-0002", ScanKind.BADGE),
        ("OP-7", ScanKind.UNIT),
        ("T7", ScanKind.TRAY),
        ("2=T-12", ScanKind.TRAY),
        ("T12345", ScanKind.UNIT),
        ("l2641", ScanKind.UNIT),
        ("", ScanKind.UNIT),
        ("X" * 500, ScanKind.UNIT),
    ],
)
def test_scan_is_recognised(text: str, kind: ScanKind) -> None:
    """By the plan's own serial pattern; what nothing fits is left to the reader of serials, which says why."""
    assert kind is recognise(text, (PLAN,)).kind


def test_serial_goes_before_a_tray() -> None:
    """A part whose serials read like trays is measured, not put away."""
    plan = replace(PLAN, serial_pattern="(?P<lot>T)[0-9]{3}")

    assert [ScanKind.UNIT, ScanKind.TRAY] == [recognise(each, (plan,)).kind for each in ("T123", "T12")]


def test_without_plans_only_badges_are_known() -> None:
    """An empty station knows no lots."""
    found = [recognise(each, ()).kind for each in ("OP-07", "L2641", "L2641-01-A01")]

    assert [ScanKind.BADGE, ScanKind.UNIT, ScanKind.UNIT] == found


@given(st.text(max_size=200))
def test_any_text_is_some_scan(text: str) -> None:
    """No scan raises, and a lot or badge is told back without blanks."""
    found = recognise(text, (PLAN,))

    assert isinstance(found, Scan)
    assert found.kind is ScanKind.UNIT or found.text == found.text.strip()


@pytest.mark.parametrize(
    ("pattern", "end"),
    [
        ("(?P<lot>L[0-9]{4})-x", 18),
        (r"(?P<lot>\(a\))b", 14),
        ("(?P<lot>[)]a)b", 13),
        ("(?P<lot>(a|b)c)d", 15),
        ("abc", None),
    ],
)
def test_end_of_a_group_is_found(pattern: str, end: int | None) -> None:
    """Brackets that are escaped or stand in a class don't count."""
    assert end == group_end(pattern, "lot")
