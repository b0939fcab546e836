"""What is said: evidence, places, reason codes, and what to ask."""

from dataclasses import replace

import numpy as np
import pytest

from sim.lot import NO_DEFECTS, Lot
from station.causes.codes import code_log_likelihood, speaks_of_unit
from station.causes.explain import LotExplanation, UnitExplanation, explain_lot, explain_unit
from station.causes.kinds import ABOUT, CAUSES, Cause
from station.causes.study import case_probabilities, study_of, unit_probabilities
from station.core.reasons import ABOUT_THE_SEAT
from station.core.reasons import CAUSES as REASONS
from tests.causes.makers import DRAWN, Findings, copper_unit, lot_units, measure

DEFECTS = {
    "L2641-01-B03": "shorted_turns",
    "L2641-01-B05": "open",
    "L2641-01-B07": "layer_short",
    "L2641-01-B11": "poor_contact",
}


def _explained() -> tuple[dict[str, UnitExplanation], LotExplanation]:
    units = lot_units(Lot(5, panels=2, rates=NO_DEFECTS, defects=DEFECTS))
    units[0] = (copper_unit(units[0][0], 0.6), units[0][1])
    study = study_of(measure(units), DRAWN)
    return {serial: explain_unit(study, row) for row, serial in enumerate(study.findings.serials)}, explain_lot(study)


@pytest.fixture(scope="module")
def explained() -> tuple[dict[str, UnitExplanation], LotExplanation]:
    """A small lot with one of each."""
    return _explained()


Explained = tuple[dict[str, UnitExplanation], LotExplanation]


@pytest.mark.parametrize(
    ("serial", "cause"),
    [
        ("L2641-01-A01", Cause.NARROW),
        ("L2641-01-B03", Cause.SHORTED_TURNS),
        ("L2641-01-B05", Cause.OPEN),
        ("L2641-01-B07", Cause.LAYER_SHORT),
        ("L2641-01-B11", Cause.POOR_CONTACT),
        ("L2641-02-A05", Cause.NOTHING),
    ],
)
def test_each_has_its_cause(explained: Explained, serial: str, cause: Cause) -> None:
    """One of each kind in a small lot gets its own cause."""
    assert cause is explained[0][serial].likeliest.cause


def test_narrow_copper_says_what_would_tell(explained: Explained) -> None:
    """Narrow or thin is one cause, and the text names coupons of two widths and a section."""
    proof = explained[0]["L2641-01-A01"].likeliest.proof

    assert "coupons of two widths" in proof
    assert "section" in proof


def test_short_says_where(explained: Explained) -> None:
    """The place of a bridge is said, and no layer where the readings can't tell it."""
    found = explained[0]["L2641-01-B03"]

    assert found.where is not None
    assert "turn 1 is the innermost" in found.where_words
    assert any("Rs at the test frequency" in line for line in found.evidence)


def test_r20_is_split_into_lot_panel_and_unit(explained: Explained) -> None:
    """The first line says whose the deviation is."""
    first = explained[0]["L2641-01-A01"].evidence[0]

    assert all(word in first for word in ("the lot", "its panel", "the unit"))


def test_lot_table_counts_every_unit_once(explained: Explained) -> None:
    """The counts sum to the units, and the surest examples are named."""
    units, lot = explained

    assert len(units) == sum(each.passed + each.not_passed for each in lot.table)
    assert ["L2641-01-B03"] == [s for each in lot.table if each.cause is Cause.SHORTED_TURNS for s in each.examples]


def test_board_maker_is_asked_about_copper(explained: Explained) -> None:
    """With narrow copper in the lot the maker is asked for widths, thickness and a section."""
    assert any("ask for track widths and finished copper" in each for each in explained[1].asks)


def test_codes_are_those_of_the_station() -> None:
    """Every code that speaks of a unit is one of the station's, and all about the seat but moved units are known."""
    unknown = {code for code in ABOUT_THE_SEAT if not speaks_of_unit(code)}

    assert {"unit_changed"} == unknown
    assert all(code in REASONS for code in ("contact_open", "coil_open", "not_still", "profile_poor"))


def test_code_of_the_bench_is_no_cause_of_the_unit() -> None:
    """A pulled plug is not measured, whatever else might be."""
    row = code_log_likelihood(("no_reply",), np.array([False]), contact_checked=True)[0]

    assert Cause.NOT_MEASURED is CAUSES[int(row.argmax())]


def test_unchecked_contact_leaves_poor_contact_in_question() -> None:
    """Where no run proves its contacts, a high R may be one."""
    units = lot_units(Lot(5, panels=1, rates=NO_DEFECTS))
    units[0] = (copper_unit(units[0][0], 0.7), units[0][1])
    unchecked = replace(DRAWN, contact_checked=False)
    found = explain_unit(study_of(measure(units), unchecked), 0)

    assert Cause.POOR_CONTACT in [each.cause for each in found.causes]


def test_no_units_are_refused() -> None:
    """A study of nothing is an error with a word."""
    with pytest.raises(ValueError, match="at least one unit"):
        study_of(Findings((), (), (), ()), DRAWN)


def test_every_cause_has_words() -> None:
    """No cause without words, prior and (but for nothing) what would prove it."""
    assert set(Cause) == set(ABOUT)
    assert all(each.proof for cause, each in ABOUT.items() if cause is not Cause.NOTHING)


@pytest.mark.slow
def test_units_not_looked_at_closely_would_get_the_same_cause() -> None:
    """A unit within the bound of what is usual has no likelier cause when all cases are gone through."""
    study = study_of(measure(lot_units(Lot(6, panels=4))), DRAWN)
    quick = unit_probabilities(study).argmax(axis=1)
    full = np.array([case_probabilities(study, row)[0].argmax() for row in range(len(quick))])

    assert full.tolist() == quick.tolist()
