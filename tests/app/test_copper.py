"""Findings on copper entered into the records, and what they imply."""

import json
import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from station.app.causes import explain_lot_on_record, explain_unit_on_record
from station.app.copper_entering import copper_on_record, enter_copper
from station.app.copper_records import copper_entries
from station.app.copper_rows import CouponRow, Row, SectionRow, WidthRow
from station.coil import predict
from station.coil.constants import COPPER_RESISTIVITY_OHM_M
from station.errors import RecordError
from station.records import Records
from tests.cli.lots import record_lot
from tests.records.makers import START

LOT, SERIAL = "L2641", "L2641-01-A01"
DRAWN_OHM = 7.945
"""R20 of IS-20 as drawn, to what matters here."""


@pytest.fixture
def records(tmp_path: Path) -> Records:
    """Two panels on record, 8 % above the drawing."""
    record_lot(tmp_path, LOT, 2, mean_ohm=1.08 * DRAWN_OHM, results=1)
    return Records.open(tmp_path)


def coupons(panel: str, *, loss_m: float = 9e-6, copper_m: float = 18e-6) -> list[CouponRow]:
    """Two tracks as the formula has them, at 23 degC, read at 0.1 %."""
    rows = []
    for width_m in (0.1e-3, 0.4e-3):
        ohm = COPPER_RESISTIVITY_OHM_M * 0.05 / (copper_m * (width_m - loss_m)) * (1 + 3 / 254.5)
        rows.append(CouponRow(panel, width_m, 0.05, ohm, 23.0, 1e-3 * ohm))
    return rows


def widths(width_m: float, *, serial: str = SERIAL) -> list[WidthRow]:
    """Three places of the top layer by microscope."""
    return [WidthRow(serial, 1, turn, 1e-6, width_m=width_m) for turn in (1.0, 10.0, 20.0)]


def _enter(records: Records, rows: list[WidthRow] | list[CouponRow] | list[SectionRow], **more: object) -> int:
    given: list[Row] = list(rows)
    return enter_copper(records, LOT, given, who="EN-02", why="incoming", utc=START, **more)  # type: ignore[arg-type]


def test_two_who_replace_one_entry_at_once_do_not_both(tmp_path: Path, records: Records) -> None:
    """The second one's look at what stands comes after the first one's entry, whatever either saw before."""
    _enter(records, widths(0.12e-3))
    start = threading.Barrier(2)

    def replaced(width_m: float) -> str:
        with Records.open(tmp_path, wait_s=60.0) as own:
            start.wait()
            try:
                _enter(own, widths(width_m), instead_of=(1,))
            except RecordError as error:
                return str(error)
        return ""

    with ThreadPoolExecutor(2) as pool:
        said = sorted(pool.map(replaced, (0.115e-3, 0.125e-3)))

    assert ["", f"lot {LOT}: entry 1 was replaced by entry 2 already."] == said
    assert [False, True] == [each.stands for each in copper_entries(records, LOT)]


def test_drawing_reads_as_said(records: Records) -> None:
    """The figure that this file's lots stand on."""
    _, coil = copper_on_record(records, LOT)

    assert DRAWN_OHM == pytest.approx(predict(coil).resistance_20_ohm, rel=1e-3)


def test_widths_imply_a_resistance_and_leave_the_rest_to_thickness(records: Records) -> None:
    """8 % narrower of a coil that reads 8 % high: nothing is left; as drawn, all 8 % are."""
    _enter(records, widths(0.12e-3 / 1.08))
    narrow = copper_on_record(records, LOT)[0].units[0]
    _enter(records, widths(0.12e-3), instead_of=(1,))
    drawn = copper_on_record(records, LOT)[0].units[0]

    assert narrow.implied is not None
    assert drawn.implied is not None
    assert 1.08 == pytest.approx(narrow.implied.resistance_ohm / drawn.implied.resistance_ohm, rel=1e-6)
    assert 0.08 == pytest.approx(drawn.left - narrow.left, abs=0.006)
    assert 0.0 < narrow.left_uncertainty < 0.03


def test_coupons_give_etch_loss_and_thickness(records: Records) -> None:
    """What went in comes out, reduced to 20 degC."""
    _enter(records, coupons("01"))
    panel = copper_on_record(records, LOT)[0].panels[0]

    assert panel.coupons is not None
    assert 9e-6 == pytest.approx(panel.coupons.etch_loss_m, rel=1e-6)
    assert 18e-6 == pytest.approx(panel.coupons.thickness_m(COPPER_RESISTIVITY_OHM_M), rel=1e-6)


def test_section_and_coupons_together_give_the_resistivity(records: Records) -> None:
    """Sheet resistance times thickness: 3 % thinner copper of the same sheet resistance is 3 % better copper."""
    _enter(records, coupons("01"))
    _enter(records, [SectionRow(18e-6 * 0.97, 0.2e-6, panel="01")])
    panel = copper_on_record(records, LOT)[0].panels[0]

    assert 0.97 * COPPER_RESISTIVITY_OHM_M == pytest.approx(panel.resistivity_ohm_m(), rel=1e-6)


def test_coupons_beside_a_unit_speak_of_that_place(records: Records) -> None:
    """Two places of a panel are two findings; a unit of another panel is refused."""
    for near in ("L2641-01-A01", "L2641-01-H12"):
        _enter(records, [replace(each, near=near) for each in coupons("01")])
    found, _ = copper_on_record(records, LOT)
    with pytest.raises(RecordError, match="no unit of that panel"):
        _enter(records, [replace(each, near="L2641-02-A01") for each in coupons("01")])

    assert [("01", "L2641-01-A01"), ("01", "L2641-01-H12")] == [(each.panel, each.near) for each in found.panels]
    assert all(each.of_unit for each in found.findings)
    assert any("beside L2641-01-A01" in each for each in explain_unit_on_record(records, "L2641-01-A01").evidence)


def test_first_width_alone_waits_for_the_second(records: Records) -> None:
    """One coupon width is kept, but says nothing; with another entry's second width it does."""
    narrow, wide = coupons("01")
    _enter(records, [narrow])
    before = copper_on_record(records, LOT)[0]
    _enter(records, [wide])
    after = copper_on_record(records, LOT)[0]

    assert before.panels[0].coupons is None
    assert () == before.findings
    assert after.panels[0].coupons is not None


def test_entries_are_chained_and_replaced_never_edited(records: Records) -> None:
    """The earlier entry stays, marked; the digest chain is whole; an edit behind its back shows."""
    _enter(records, widths(0.11e-3))
    number = _enter(records, widths(0.115e-3), instead_of=(1,))
    first, second = copper_entries(records, LOT)

    assert 2 == number == first.replaced_by
    assert (1,) == second.instead_of
    assert second.stands
    assert 0.11e-3 == first.rows[0].width_m  # type: ignore[union-attr]
    assert records.check().sound


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"instead_of": (7,)}, "no entry 7"),
        ({"instead_of": (2,)}, "has coupons, not widths"),
        ({"instead_of": (1,)}, "replaced by entry 3 already"),
    ],
)
def test_entry_that_cant_be_replaced_is_refused(records: Records, more: dict[str, object], words: str) -> None:
    """Unknown, of another kind, or replaced already; nothing comes on record."""
    _enter(records, widths(0.11e-3))
    _enter(records, coupons("01"))
    _enter(records, widths(0.115e-3), instead_of=(1,))
    with pytest.raises(RecordError, match=words):
        _enter(records, widths(0.12e-3), **more)

    assert 3 == len(copper_entries(records, LOT))


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([WidthRow("L2641-09-A01", 1, 1.0, 1e-6, width_m=0.1e-3)], "no such unit in this lot"),
        ([WidthRow(SERIAL, 3, 1.0, 1e-6, width_m=0.1e-3)], "layer must be 1 to 2"),
        ([WidthRow(SERIAL, 1, 21.0, 1e-6, width_m=0.1e-3)], "turn must be 1"),
        ([WidthRow(SERIAL, 1, 1.0, 1e-6, width_m=0.1e-3, pitch_m=0.3e-3)], "wrong magnification"),
        (coupons("17"), "panel 17: not in lot"),
        ([coupons("01")[0], CouponRow("01", 0.4e-3, 0.05, 50.0, 23.0, 0.01)], "must rise"),
    ],
)
def test_what_the_lot_or_its_drawing_cant_have_is_refused(records: Records, rows: list[WidthRow], words: str) -> None:
    """In words, with nothing on record."""
    with pytest.raises(RecordError, match=words):
        _enter(records, rows)

    assert () == copper_entries(records, LOT)


def test_who_and_why_are_asked_for(records: Records) -> None:
    """An entry without a reason is none."""
    with pytest.raises(RecordError, match="say --who and --why"):
        enter_copper(records, LOT, widths(0.11e-3), who="EN-02", why=" ", utc=START)


def test_explanations_show_what_was_found(records: Records) -> None:
    """`lot explain` and `unit explain` say what coupons and widths found, and name the part that it is."""
    _enter(records, coupons("01"))
    _enter(records, widths(0.111e-3))
    lot, unit = explain_lot_on_record(records, LOT), explain_unit_on_record(records, SERIAL)
    causes = {each.cause.value: each.probability for each in lot.level}

    assert causes["narrow_tracks"] > 0.7
    assert any("copper was measured on 1 panel" in each for each in lot.level_evidence)
    assert any("etch loss 9.00 um" in each for each in unit.evidence)
    assert any("which leaves" in each for each in unit.evidence)


def test_a_newer_versions_entry_is_not_guessed_at(records: Records) -> None:
    """Its format number is unknown: the lot's findings are refused, not half read."""
    entry = json.dumps({"format": 2, "kind": "widths", "rows": []})
    records.audit(who="EN-02", action="copper findings", subject=f"lot {LOT}", why=entry, utc=START)
    with pytest.raises(RecordError, match="newer version"):
        copper_on_record(records, LOT)


def test_lot_without_findings_has_none(records: Records) -> None:
    """Nothing is invented."""
    found, _ = copper_on_record(records, LOT)

    assert ((), (), (), ()) == (found.entries, found.units, found.panels, found.findings)
    assert np.isfinite(records.lot_values(LOT, "R20").values).all()
