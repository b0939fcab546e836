"""A lot's life in its report: the sum, each closing, what differs; nothing where nothing was entered."""

from datetime import timedelta
from pathlib import Path

import pytest

from station.app.lot_life import close_lot, receive_lot
from station.app.lot_report import lot_report
from station.records import Records
from station.reports.document import Document, Facts, Paragraph, Table
from tests.cli.lots import record_lot
from tests.records.makers import START

LATER = START + timedelta(days=30)


@pytest.fixture
def records(tmp_path: Path) -> Records:
    """A lot of 96 units."""
    record_lot(tmp_path / "home", "L2641", 1)
    return Records.open(tmp_path / "home")


def words(document: Document) -> str:
    """Return what a document says, tables and facts included."""
    said = []
    for each in document.blocks:
        if isinstance(each, Paragraph):
            said.append(each.text)
        if isinstance(each, Facts):
            said += [": ".join(pair) for pair in each.pairs]
        if isinstance(each, Table):
            said += [" | ".join(row) for row in each.rows]
    return "\n".join(said)


@pytest.mark.slow
def test_report_shows_the_closing_bin_by_bin_with_its_reason(records: Records) -> None:
    """One unit is missing; the report is of the day of the closing, its newest record."""
    with records:
        before = words(lot_report(records, "L2641"))
        receive_lot(records, "L2641", 100, part="IS-20", who="EN-02", utc=START)
        close_lot(records, "L2641", {"1": 95, "unmeasured": 4}, who="EN-02", why="one was given away", utc=LATER)
        document = lot_report(records, "L2641")
    said = words(document)

    assert "Received" not in before
    assert LATER == document.date_utc
    for each in (
        "State: closed",
        "Received: 100",
        "Passed + failed + held: 96 + 0 + 0",
        "In all: 100",
        "bin 1 (good) | 96 | 95 | -1",
        "In all 1 fewer counted than received. Reason: one was given away",
    ):
        assert each in said
