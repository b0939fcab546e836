"""A fixture that was touched, or has served its time, passes no unit before it is verified again."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from station.app.fixture import contact_trends, enter_service
from station.core.equipment import Bench
from station.errors import RecordError
from station.records import ContactPoint
from tests.station.verification_bench import GOOD, VerificationBench, verification_bench


def with_counts(bench: Bench, *, clean_at: int | None = None, replace_at: int | None = None) -> Bench:
    """The bench with a watched fixture."""
    return replace(bench, fixture=replace(bench.fixture, clean_at_cycles=clean_at, replace_at_cycles=replace_at))


def service(bench: VerificationBench, *, changed: bool = False) -> None:
    """Enter a service of its fixture."""
    records, now = bench.station.records, bench.place.clock.utc_now()
    enter_service(records, "bench-1", who="OP-07", why="due", utc=now, changed=changed)


def code(bench: VerificationBench) -> str:
    """The code of the reason why a good unit is not passed; empty if it passes."""
    record = bench.measure()
    return "" if record.reason is None else record.reason.code


@pytest.mark.parametrize("changed", [False, True])
def test_service_ends_the_verification(tmp_path: Path, changed: bool) -> None:
    """Cleaned needles or other ones: the reference units first."""
    with verification_bench(tmp_path) as bench:
        bench.verify()
        before = code(bench)
        service(bench, changed=changed)
        after = code(bench)
        bench.verify()

        assert ("", "fixture_serviced", "") == (before, after, code(bench))


def test_worn_probes_pass_no_unit_until_changed(tmp_path: Path) -> None:
    """At the count itself; a cleaning does not help, other probes and a verification do."""
    with verification_bench(tmp_path, setup=lambda bench: with_counts(bench, replace_at=9)) as bench:
        bench.verify()
        seen = [code(bench) for _ in range(5)]
        service(bench)
        cleaned = bench.verify().verification
        service(bench, changed=True)
        changed = bench.verify().verification
        at_last = code(bench)

    first = seen.index("probes_worn")
    assert (["" for _ in seen[:first]], ["probes_worn" for _ in seen[first:]]) == (seen[:first], seen[first:])
    assert "change them, then: coilgate bench cleaned --probes-changed" in cleaned.words
    assert (False, True, "") == (cleaned.verified, changed.verified, at_last)


def test_cleaning_that_is_due_is_asked_for_by_the_next_verification(tmp_path: Path) -> None:
    """Units go on till then; the verification says what to do, and puts no unit in doubt."""
    with verification_bench(tmp_path, setup=lambda bench: with_counts(bench, clean_at=7)) as bench:
        bench.verify()
        goes_on = [code(bench) for _ in range(3)]
        report = bench.verify()
        service(bench)
        again = bench.verify().verification

    assert ["", "", ""] == goes_on
    assert (False, (), True) == (report.verification.verified, report.held, again.verified)
    assert "clean the probes, then: coilgate bench cleaned" in report.verification.words


def test_plan_that_needs_another_fixture_passes_no_unit(tmp_path: Path) -> None:
    """The fixture answers with its identity; a plan may say what that begins with."""
    with verification_bench(tmp_path) as bench:
        bench.verify()
        plan = bench.inspection.plans[0]
        own = bench.inspection.fixture_identity

        def with_fixture(required: str) -> str:
            bench.inspection.plans = (replace(plan, plan=replace(plan.plan, fixture=required)),)
            return code(bench)

        assert ("", "wrong_fixture") == (with_fixture(own.partition("001")[0]), with_fixture("INVENTED,FIX-2"))
        assert "the plan needs fixture INVENTED,FIX-2" in bench.verify().verification.words


def test_contacts_of_each_run_are_on_record(tmp_path: Path) -> None:
    """Two pads, the fixture's own count, and where they stand since the last service."""
    worse = replace(GOOD, serial="L2641-01-A02", contact_end_ohm=0.012)
    with verification_bench(tmp_path, units=(GOOD, worse)) as bench:
        bench.verify()
        bench.measure()
        service(bench)
        bench.measure(worse.serial)
        bench.measure(worse.serial)
        records = bench.station.records
        points = records.contact_points("bench-1")
        trends = contact_trends(points, records.fixture_services("bench-1"))
        cycles = [each.contact_cycles for each in points]

    assert sorted(set(cycles)) == cycles
    assert [("start pad", 2), ("end pad", 2)] == [(each.pad, each.runs) for each in trends]
    assert [0.006, 0.012] == pytest.approx([each.now_ohm for each in trends], abs=0.5e-3)


def test_service_of_an_unknown_bench_is_refused(tmp_path: Path) -> None:
    """A slip in the name must not leave the right bench as it was without a word."""
    with verification_bench(tmp_path) as bench, pytest.raises(RecordError, match="bench-2: no verification of it"):
        enter_service(bench.station.records, "bench-2", who="OP-07", why="due", utc=bench.place.clock.utc_now())


@pytest.mark.parametrize(("per_contact_ohm", "moves"), [(0.0, False), (1e-5, True)])
def test_trend_of_a_contact_is_one_only_beyond_its_doubt(per_contact_ohm: float, moves: bool) -> None:
    """Noise of half a milliohm over a hundred contacts makes a slope too; 10 uohm a contact are seen."""
    noise = [0.5e-3 if place % 2 else -0.5e-3 for place in range(100)]
    start = datetime(2026, 11, 2, 6, 0, tzinfo=UTC)
    points = [
        ContactPoint("U", "A", start, place, (6e-3 + per_contact_ohm * place + noise[place], 6e-3))
        for place in range(1, 100)
    ]
    first, second = contact_trends(points, [])

    assert (moves, False) == (first.moves, second.moves)
    assert 1000.0 * per_contact_ohm == pytest.approx(first.per_1000_ohm, abs=2e-3)
    assert contact_trends(points[:3], [])[0].per_1000_ohm is None
