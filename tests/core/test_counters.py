"""How a shift goes."""

from datetime import UTC, datetime, timedelta

from station.core.counters import Counters, Done, count
from station.core.results import Decision

START = datetime(2026, 1, 5, 6, 0, tzinfo=UTC)


def done(serial: str, decision: Decision, closed_s: float, *, took_s: float = 6.0) -> Done:
    """A run that closed so long after the start."""
    closed = START + timedelta(seconds=closed_s)
    return Done(serial, decision, 1, "pass", closed - timedelta(seconds=took_s), closed)


def test_unit_measured_again_counts_once_by_its_last_run() -> None:
    """INVALID, then PASS: one unit, passed; both runs are among the last ten."""
    found = count([done("a", Decision.INVALID, 0), done("a", Decision.PASS, 10), done("b", Decision.FAIL, 20)])

    assert (2, 1, 1, 0) == (found.done, found.passed, found.failed, found.invalid)
    assert ["b", "a", "a"] == [each.serial for each in found.last]
    assert 0.5 == found.yield_fraction


def test_pace_is_reckoned_from_close_to_close() -> None:
    """A unit each 10 s is 360 an hour; 6 s of it measuring: measuring is the limit."""
    found = count([done(str(i), Decision.PASS, 10.0 * i) for i in range(20)])

    assert (360.0, 0.6, "measuring") == (found.units_per_hour, found.measuring_fraction, found.limited_by)


def test_slow_hands_are_told_as_the_limit() -> None:
    """6 s of each 30 s measuring: loading is the limit."""
    assert "scanning and loading" == count([done(str(i), Decision.PASS, 30.0 * i) for i in range(20)]).limited_by


def test_nothing_is_told_of_nothing() -> None:
    """No runs, no yield, no pace."""
    found = count([])

    assert Counters() == found
    assert (None, None, "") == (found.yield_fraction, found.units_per_hour, found.limited_by)


def test_pace_of_a_fast_clock_is_told_in_real_time() -> None:
    """A simulated bench at ten times the speed does not promise ten times the units."""
    runs = [done(str(i), Decision.PASS, 10.0 * i) for i in range(20)]

    assert 36.0 == count(runs, speed=10.0).units_per_hour
