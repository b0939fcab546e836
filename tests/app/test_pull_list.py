"""The pull list: which units to look at, why, by what, and where."""

import csv
import io
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from sim.design import IS_20
from station.app.copper_files import read_rows
from station.app.copper_rows import CopperKind
from station.app.files import read_plan
from station.app.pull_files import pull_csv, pull_fact
from station.app.pull_list import pull_list, pulls_on_record, record_pull_list, width_places
from station.core.pull_list import Means, Pull, PullList
from station.core.run_record import UnitId
from station.data import data_path
from station.errors import RecordError
from station.records import Records
from station.reports.html_page import html_of
from station.reports.pdf import pdf_of
from station.reports.pull_sheet import pull_document
from tests.cli.lots import record_lot
from tests.records.makers import START, make_opened, make_record

LOT = "L2641"
UTC_TIME = datetime(2026, 11, 25, 8, tzinfo=UTC)


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, float]]:
    """Three panels of 96 units, R20 by serial."""
    folder = tmp_path_factory.mktemp("home")
    return folder, record_lot(folder, LOT, 3, results=1)


@pytest.fixture(scope="module")
def found(home: tuple[Path, dict[str, float]]) -> PullList:
    """The list of that lot."""
    with Records.open(home[0]) as records:
        return pull_list(records, LOT)


def _because(found: PullList, words: str) -> list[str]:
    return [each.serial for each in found.pulls if any(words in why for why in each.why)]


def test_extremes_are_the_lowest_and_the_highest(home: tuple[Path, dict[str, float]], found: PullList) -> None:
    """Three each, the outermost for a section."""
    order = sorted(home[1], key=lambda serial: home[1][serial])
    section = {each.serial for each in found.pulls if Means.SECTION in each.means}

    assert order[:3] == _because(found, "lowest of the lot")
    assert order[::-1][:3] == _because(found, "highest of the lot")
    assert {order[0], order[-1]} < section


def test_typical_units_are_near_the_median_and_of_different_panels(
    home: tuple[Path, dict[str, float]], found: PullList
) -> None:
    """One of each of the three panels."""
    typical = _because(found, "typical")
    middle = np.median(list(home[1].values()))

    assert 3 == len({serial[6:8] for serial in typical})
    assert all(abs(home[1][serial] - middle) < 0.1 for serial in typical)


def test_corners_are_those_of_the_most_usual_and_the_oddest_panel(found: PullList) -> None:
    """Rows A and H, columns 01 and 12, of two panels."""
    corners = _because(found, "corner of panel")

    assert 8 == len(corners)
    assert {"A01", "A12", "H01", "H12"} == {serial[-3:] for serial in corners}


def test_each_unit_stands_once_with_all_its_reasons(found: PullList) -> None:
    """A corner that is an extreme is fetched once."""
    serials = [each.serial for each in found.pulls]

    assert len(serials) == len(set(serials))
    assert all(each.why and each.means for each in found.pulls)


def test_widths_are_wanted_where_the_track_can_be_seen() -> None:
    """Innermost, middle, outermost turn, of the outer layers: inner ones can't be seen from outside."""
    four = replace(IS_20, layers=4, layer_gaps_m=(50e-6,) * 3)

    assert ((1, 1.0), (1, 10.0), (1, 20.0), (2, 1.0), (2, 10.0), (2, 20.0)) == width_places(IS_20)
    assert {1, 4} == {layer for layer, _ in width_places(four)}


def test_odd_unit_is_on_the_list(tmp_path: Path) -> None:
    """One far above the rest: beyond 3.5 robust standard deviations; to be searched for a neck."""
    plan = read_plan(data_path("plans/IS-20.toml"))
    record_lot(tmp_path, LOT, 1, results=1)
    serial = "L2641-01-C05"
    with Records.open(tmp_path) as records:
        opened = replace(make_opened(serial), unit=UnitId(serial, LOT, "01", "C", "05"), plan_hash=plan.text_hash)
        records.open_run(opened)
        records.close_run(make_record(opened, r20_ohm=9.1, results=1))
        odd = next(each for each in pull_list(records, LOT).pulls if each.serial == serial)

    assert any("odd: R20 +" in each for each in odd.why)
    assert any("neck" in each for each in odd.look)


def test_list_comes_back_from_the_records(home: tuple[Path, dict[str, float]], found: PullList, tmp_path: Path) -> None:
    """In the digest chain, with who and why; without them it is refused."""
    record_lot(tmp_path, LOT, 1, results=1)
    with Records.open(tmp_path) as records:
        mine = pull_list(records, LOT)
        with pytest.raises(RecordError, match="say --who and --why"):
            record_pull_list(records, mine, who="", why="looked at", utc=START)
        record_pull_list(records, mine, who="EN-02", why="R20 is high", utc=START)

        assert [(each.serial, each.why, each.means) for each in mine.pulls] == [
            (each.serial, each.why, each.means) for each in pulls_on_record(records, LOT)
        ]
        assert records.check().sound


def test_csv_filled_in_is_what_widths_are_read_from(found: PullList) -> None:
    """The file that goes out comes back: places that were filled in are rows, the others are passed over."""
    lines = list(csv.DictReader(io.StringIO(pull_csv(found))))
    lines[0] |= {"top_um": "112", "u_um": "1"}
    out = io.StringIO()
    writer = csv.DictWriter(out, lines[0].keys())
    writer.writeheader()
    writer.writerows(lines)
    rows = read_rows(CopperKind.WIDTHS, out.getvalue(), "back.csv")

    assert [lines[0]["serial"]] == [each.subject for each in rows]


def test_csv_carries_no_formula_to_a_spreadsheet() -> None:
    """A serial that begins like one is kept as text."""
    odd = Pull("=1+1", "01", "A", "01", 8.0, ("typical",), (Means.MICROSCOPE,), (), ((1, 1.0),))

    assert "'=1+1" in pull_csv(PullList(LOT, True, 1, UTC_TIME, (odd,)))


def test_facts_name_their_population(found: PullList) -> None:
    """How many units it was chosen from."""
    fact = pull_fact(found, recorded=False)

    assert "288 units of the lot" in str(fact["population"])


def test_sheet_has_every_unit_and_room_to_write(found: PullList) -> None:
    """As PDF it can be set; as a page it names each unit, what destroys it, and what can hurt."""
    text = html_of(pull_document(found)).decode()

    assert pdf_of(pull_document(found)).startswith(b"%PDF")
    assert all(each.serial in text for each in found.pulls)
    assert "destroys the unit" in text
    assert "interlocked cabinet" in text
    assert text.count("_______") > 6 * len(found.pulls)


def test_lot_without_a_measured_unit_is_refused(tmp_path: Path) -> None:
    """In words."""
    with Records.open(tmp_path) as records, pytest.raises(RecordError, match="L2641"):
        pull_list(records, LOT)
