"""A unit's paper: never a certificate for a unit that doesn't pass now."""

from dataclasses import replace

import pytest

from station.app.files import read_plan
from station.core.results import Decision, Reason
from station.data import data_path
from station.records.views import Head, LaterDecision
from station.reports.certificate import UnitFindings, unit_document
from station.reports.document import Facts, Table
from tests.records.makers import START, make_opened, make_record

PLAN = read_plan(data_path("plans/IS-20.toml"))
FOUND = UnitFindings(
    record=make_record(make_opened(), results=3),
    later=None,
    held=False,
    plan=PLAN,
    plan_words="IS-20, revision 1",
    verification=None,
    head=Head("bench-1", 7, "ab" * 32),
)
REVISED = LaterDecision(
    run_id=FOUND.record.opened.run_id,
    plan_hash=PLAN.text_hash,
    decision=Decision.FAIL,
    reason=Reason("above_upper", "above the upper limit"),
    bin_number=90,
    bin_name="reject",
    held=False,
    judgements=FOUND.record.judgements,
    concession="",
    who="EN-02",
    why="narrower limits",
    decided_utc=START,
)


def _facts(found: UnitFindings) -> dict[str, str]:
    blocks = (each for each in unit_document(found).blocks if isinstance(each, Facts))
    return {name: value for each in blocks for name, value in each.pairs}


def test_unit_that_passes_has_a_certificate() -> None:
    """With the decision, the bin, and what shows a cut tail."""
    facts = _facts(FOUND)

    assert "Certificate of unit L2641-01-A01" == unit_document(FOUND).title
    assert ("pass", "1 (good)") == (facts["Decision"], facts["Bin"])
    assert f"entry 7: {'ab' * 32}" == facts["Digest chain, bench-1"]


@pytest.mark.parametrize(
    ("found", "title"),
    [
        (replace(FOUND, held=True), "Unit L2641-01-A01: held (pass)"),
        (replace(FOUND, later=REVISED), "Unit L2641-01-A01: fail"),
        (replace(FOUND, record=make_record(make_opened(), decision=Decision.FAIL)), "Unit L2641-01-A01: fail"),
        (
            replace(FOUND, record=make_record(make_opened(), decision=Decision.INVALID, r20_ohm=None)),
            "Unit L2641-01-A01: not measured",
        ),
    ],
)
def test_unit_that_does_not_pass_now_has_none(found: UnitFindings, title: str) -> None:
    """Held, judged again, failed, not measured: title, foot and decision say so, and nothing says certificate."""
    document = unit_document(found)

    assert (title, title) == (document.title, document.footer)
    assert title.partition(": ")[2] == _facts(found)["Decision"]


def test_later_decision_brings_its_bin_reason_and_who() -> None:
    """The paper follows the decision that counts."""
    facts = _facts(replace(FOUND, later=replace(REVISED, concession="C-12")))

    assert "90 (reject)" == facts["Bin"]
    assert facts["Concession"].startswith("C-12: the unit does not conform")
    assert "EN-02: narrower limits" in facts["Decided again"]


def test_results_stand_with_uncertainty_and_limits() -> None:
    """R20 as recorded: 7.912345... ohm, U 1.96 per mille of it, limits of the plan."""
    rows = next(each for each in unit_document(FOUND).blocks if isinstance(each, Table)).rows

    assert ("R20", "7.9123\u00a0Ω", "16\u00a0mΩ", "6.800\u00a0Ω", "9.200\u00a0Ω") == rows[0][:5]
    assert "pass" in rows[0][7]


def test_simulated_unit_is_marked() -> None:
    """No paper of a simulated unit can be taken for a real one."""
    real = replace(FOUND.record, opened=replace(FOUND.record.opened, simulated=False))

    assert unit_document(FOUND).simulated
    assert not unit_document(replace(FOUND, record=real)).simulated
