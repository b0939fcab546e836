"""Released plans, verifications, audit entries; on both databases."""

from dataclasses import replace

import pytest

from station.core.results import Decision
from station.core.run_record import Purpose
from station.errors import RecordError
from station.records import AuditEntry, Records
from tests.records.makers import START, make_opened, make_plan, make_record, make_verification


def test_release_plan_numbers_revisions_of_each_part(records: Records) -> None:
    """Revisions count from one, a part at a time, and come back whole by their hash."""
    plans = [make_plan(), make_plan(title="wider"), make_plan(part="IS-21")]
    released = [records.release_plan(plan, who="EN-01", why="first lot", utc=START) for plan in plans]

    assert [1, 2, 1] == [each.revision for each in released]
    assert tuple(released[1:]) == records.released_plans()
    assert tuple(released) == records.released_plans(every_revision=True)
    assert released[0] == records.plan_revision(plans[0].text_hash)
    assert plans[0].source_text == released[0].source_text


def test_release_plan_refuses_same_text(records: Records) -> None:
    """A text is released once; the message says which revision it is."""
    records.release_plan(make_plan(), who="EN-01", why="first lot", utc=START)
    with pytest.raises(RecordError, match="released already, as revision 1 on 2026-11-25"):
        records.release_plan(make_plan(), who="EN-01", why="again", utc=START)


def test_release_plan_refuses_text_that_is_not_the_plans(records: Records) -> None:
    """Text and hash belong together, or a run would name a plan that nobody can read."""
    with pytest.raises(RecordError, match="do not belong together"):
        records.release_plan(replace(make_plan(), source_text="other"), who="EN-01", why="x", utc=START)


@pytest.mark.parametrize(("who", "why"), [("", "why"), ("who", " ")])
def test_release_plan_needs_who_and_why(records: Records, who: str, why: str) -> None:
    """A release without a name or a reason is none."""
    with pytest.raises(RecordError, match="who releases it and why"):
        records.release_plan(make_plan(), who=who, why=why, utc=START)


def test_plan_text_is_there_when_kept_or_released(records: Records) -> None:
    """Drafts that runs followed can be read again, as often as they were kept."""
    draft, released = make_plan(title="draft"), make_plan()
    for _ in range(2):
        records.keep_plan(draft)
    records.release_plan(released, who="EN-01", why="first lot", utc=START)

    assert draft.source_text == records.plan_text(draft.text_hash)
    assert released.source_text == records.plan_text(released.text_hash)
    assert (None, None) == (records.plan_text("none"), records.plan_revision(draft.text_hash))


def test_latest_verification_is_the_last_added(records: Records) -> None:
    """A verification that failed ends what an earlier one promised."""
    good, bad = make_verification(1), make_verification(2, verified=False)
    for each in (good, bad):
        records.add_verification(each)

    assert bad == records.latest_verification("bench-1", "nest-1")
    assert None is records.latest_verification("bench-1", "nest-2")
    assert (good, bad) == records.verifications("bench-1")


def test_add_verification_refuses_same_id(records: Records) -> None:
    """An id is given once."""
    records.add_verification(make_verification())
    with pytest.raises(RecordError, match="on record already"):
        records.add_verification(make_verification())


def test_units_since_names_units_that_stand_on_a_verification(records: Records) -> None:
    """Each production unit is named once, in order; other purposes and other verifications are not."""
    runs = [("B", "v", Purpose.PRODUCTION), ("A", "v", Purpose.PRODUCTION), ("B", "v", Purpose.PRODUCTION)]
    runs += [("C", "other", Purpose.PRODUCTION), ("D", "v", Purpose.STUDY), ("E", "", Purpose.PRODUCTION)]
    for serial, verification_id, purpose in runs:
        opened = make_opened(serial, purpose=purpose)
        records.open_run(opened)
        records.close_run(make_record(opened, decision=Decision.PASS, verification_id=verification_id))
    verification = replace(make_verification(), verification_id="v")

    assert ("B", "A") == records.units_since(verification)
    assert 2 == records.count_since(verification)
    assert () == records.units_since(replace(verification, verification_id=""))


def test_count_since_goes_on_with_runs_that_are_closed_later(records: Records) -> None:
    """Asked after each unit it counts the new one, a repeat not again, and another verification apart."""
    counts = []
    for serial, verification_id in (("A", "v"), ("B", "v"), ("A", "v"), ("C", "w"), ("D", "v")):
        opened = make_opened(serial)
        records.open_run(opened)
        records.close_run(make_record(opened, decision=Decision.PASS, verification_id=verification_id))
        counts.append(
            tuple(records.count_since(replace(make_verification(), verification_id=each)) for each in ("v", "w"))
        )

    assert [(1, 0), (2, 0), (2, 0), (2, 1), (3, 1)] == counts


def test_audit_entries_come_back_in_order(records: Records) -> None:
    """Who did what, to what, why."""
    for subject in ("nest-1", "nest-2"):
        records.audit(who="EN-01", action="clean", subject=subject, why="due", utc=START)

    assert (AuditEntry(START, "EN-01", "clean", "nest-2", "due"),) == records.audit_entries(subject="nest-2")
    assert 2 == len(records.audit_entries())
