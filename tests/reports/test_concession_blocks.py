"""A deviation permit or concession on paper: never a certificate, and everything that was signed."""

from pathlib import Path

import pytest

from station.app.certificate import unit_findings
from station.app.concessions import accept, grant
from station.app.lot_report import lot_report
from station.records import Records
from station.reports.certificate import unit_document
from station.reports.document import Document, Facts, Table
from tests.app.judged_lot import record_lot
from tests.app.test_concessions import NOW, VALUES, WANTED

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A lot with three units that were accepted."""
    folder = tmp_path_factory.mktemp("home")
    units = record_lot(folder, VALUES)
    with Records.open(folder) as records:
        number = grant(records, WANTED, who="EN-02", now_utc=NOW).number
        accept(records, number, units, who="EN-02", why="", now_utc=NOW)
    return folder


def facts(document: Document) -> dict[str, str]:
    """Return every name and value of a document."""
    return {name: value for each in document.blocks if isinstance(each, Facts) for name, value in each.pairs}


def test_accepted_unit_has_no_certificate_but_the_whole_concession(home: Path) -> None:
    """Its title says how it was accepted; the limits it does not keep and those it was accepted by stand there."""
    with Records.open(home) as records:
        document = unit_document(unit_findings(records, "L2641-01-A02"))
    found = facts(document)

    assert "Unit L2641-01-A02: accepted by concession CN-0001" == document.title
    assert "accepted by concession CN-0001" == found["Decision"]
    assert "80 (concession)" == found["Bin"]
    assert "6.800\u00a0Ω to 9.200\u00a0Ω" == found["Limits of the plan"]
    assert found["Widened limits"].startswith("6.800\u00a0Ω to 9.600\u00a0Ω")
    assert ("CR-118", "the driver has the voltage") == (found["Customer's reference"], found["Reason"])
    assert found["Signed"].startswith("EN-02")
    assert "2027-01-01 00:00 UTC" == found["Ends"]


def test_lot_report_names_the_concession_and_counts_its_units_as_fail(home: Path) -> None:
    """Five of eight fail or are not measured; three of the five that fail are accepted."""
    with Records.open(home) as records:
        document = lot_report(records, "L2641")
    table = next(each for each in document.blocks if isinstance(each, Table) and each.headers[0] == "number")

    assert "5, of these 3 accepted by concession" == facts(document)["Fail"]
    assert "2" == facts(document)["Pass"]
    assert [("CN-0001", "3", "in force")] == [(row[0], row[7], row[8]) for row in table.rows]
