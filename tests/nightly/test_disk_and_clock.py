"""Bad days of the machine: power cut, disk full, records locked, clock set back, another time zone.

After each: what was shown is on record whole, the drive is off, the chain holds, the next unit runs.
"""

import json
import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

from station.core.results import Decision
from station.core.run_record import RunRecord
from station.errors import RecordError
from station.records import Records
from tests.end_to_end.shop import serial_of
from tests.nightly.power_cut import cut_again_and_again
from tests.nightly.small_station import BENCH, START_UTC, SmallStation, new_home, opened

CUTS = 200 if os.environ.get("COILGATE_NIGHTLY") else 20
SERIALS = [serial_of(each) for each in range(40)]


@pytest.mark.slow
def test_nothing_shown_is_lost_when_the_power_is_cut(tmp_path: Path) -> None:
    """Files as a cut may leave them: all that was shown is there, half a run is not, and the next unit passes."""
    cuts = list(cut_again_and_again(tmp_path, CUTS, seed=1))

    assert [] == [each.wrong for each in cuts if each.wrong]
    assert CUTS == len(cuts)
    assert sum(each.left_open for each in cuts) > 0
    assert sum(each.sectors_lost for each in cuts) > 0


# The disk fills up within a write, wherever the limit falls; then somebody frees some space.
_FULL = """
import json, resource, signal, sys
from pathlib import Path
from station.errors import RecordError
from tests.end_to_end.shop import serial_of
from tests.nightly.small_station import opened

home, room = Path(sys.argv[1]), int(sys.argv[2])
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
serials = [serial_of(each) for each in range(40)]
shown, refused, after = {}, "", ""
with opened(home, serials) as station:
    def take(scan):
        record = station.measure(scan)
        shown[record.opened.run_id] = record.decision.value
        return record.decision.value
    take(serials[0])
    used = (home / "records.sqlite3-wal").stat().st_size
    resource.setrlimit(resource.RLIMIT_FSIZE, (used + room, resource.RLIM_INFINITY))
    for scan in serials[1:]:
        try:
            take(scan)
        except RecordError as error:
            refused = str(error)
            break
    driven = station.place.bench.world.drive.on
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    after = take(scan)
print(json.dumps({"shown": shown, "refused": refused, "driven": driven, "after": after}))
"""


@pytest.mark.slow
@pytest.mark.parametrize("room", [0, 1_000, 9_000, 30_000])
def test_full_disk_loses_no_run_that_was_shown(tmp_path: Path, room: int) -> None:
    """Full at any byte: the unit in hand is refused in words, the drive is off, and it runs once there is space."""
    new_home(tmp_path)
    done = subprocess.run([sys.executable, "-c", _FULL, str(tmp_path), str(room)], capture_output=True, text=True)
    said = json.loads(done.stdout or "{}")
    with Records.open(tmp_path) as records:
        kept = {each: records.run(each).decision.value for each in said["shown"]}
        records.close_unfinished(BENCH, closed_utc=START_UTC)
        faults = records.check().faults

    assert (0, "") == (done.returncode, done.stderr)
    assert "full" in said["refused"]
    assert (False, "PASS") == (said["driven"], said["after"])
    assert said["shown"] == kept
    assert () == faults


@pytest.mark.parametrize("point", ["open_run.written", "close_run.begun"])
def test_locked_records_refuse_the_run_and_let_the_next_one_in(tmp_path: Path, point: str) -> None:
    """Another program holds the records when a run begins or ends: no decision is shown; then the next unit runs."""
    new_home(tmp_path)
    holder = _Holder(tmp_path / "records.sqlite3", when=point if point == "close_run.begun" else "")
    with closing(holder), opened(tmp_path, SERIALS, wait_s=0.01, hook=holder) as station:
        first = station.measure(SERIALS[0])
        holder.arm(now=point == "open_run.written")
        with pytest.raises(RecordError, match="another program holds"):
            station.measure(SERIALS[1])
        driven = station.place.bench.world.drive.on
        holder.let_go()
        second = station.measure(SERIALS[1])
        faults = station.records.check().faults
        kept = [station.records.run(each.opened.run_id) for each in (first, second)]

    assert [first, second] == kept
    assert (False, Decision.PASS, ()) == (driven, second.decision, faults)


@pytest.mark.parametrize("shift", [timedelta(hours=-2), timedelta(days=-400), timedelta(days=30)])
def test_clock_set_otherwise_neither_passes_on_an_old_verification_nor_loses_a_run(
    tmp_path: Path, shift: timedelta
) -> None:
    """Set back or ahead between two runs: not verified, so no PASS; all is on record, in the order of the chain."""
    new_home(tmp_path)
    with opened(tmp_path, SERIALS) as station:
        before = station.measure(SERIALS[0])
    with opened(tmp_path, SERIALS, shift=shift, verify=False) as station:
        after = station.measure(SERIALS[1])
        kept = _kept(station, before, after)
        faults = station.records.check().faults

    assert (Decision.PASS, Decision.INVALID) == (before.decision, after.decision)
    assert after.reason is not None
    assert "verification_expired" == after.reason.code
    assert ([before, after], ()) == (kept, faults)


def test_clock_set_back_can_be_verified_on_again(tmp_path: Path) -> None:
    """After a verification by the clock as it is now, units pass and the chain holds."""
    new_home(tmp_path)
    with opened(tmp_path, SERIALS) as station:
        before = station.measure(SERIALS[0])
    with opened(tmp_path, SERIALS, shift=timedelta(days=-1)) as station:
        after = station.measure(SERIALS[1])
        kept = _kept(station, before, after)
        faults = station.records.check().faults

    assert (Decision.PASS, [before, after], ()) == (after.decision, kept, faults)


_ELSEWHERE = """
import sys, time
from pathlib import Path
from tests.end_to_end.shop import serial_of
from tests.nightly.small_station import opened

time.tzset()
with opened(Path(sys.argv[1]), [serial_of(1)], verify=False) as station:
    print(station.measure(serial_of(1)).opened.opened_utc.isoformat())
"""


@pytest.mark.slow
@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "Pacific/Pago_Pago"])
def test_time_zone_changes_nothing_on_record(tmp_path: Path, zone: str) -> None:
    """Another zone, a day ahead or behind: the verification still counts, and stamps are the same UTC."""
    new_home(tmp_path)
    with opened(tmp_path, SERIALS) as station:
        station.measure(SERIALS[0])
    done = subprocess.run(
        [sys.executable, "-c", _ELSEWHERE, str(tmp_path)],
        capture_output=True,
        text=True,
        env={**os.environ, "TZ": zone},
    )
    with Records.open(tmp_path) as records:
        (run,) = records.runs_of(SERIALS[1])
        faults = records.check().faults

    assert ("", ()) == (done.stderr, faults)
    assert (done.stdout.strip(), Decision.PASS) == (run.opened_utc.isoformat(), run.decision)


def _kept(station: SmallStation, *runs: RunRecord) -> list[RunRecord]:
    return [station.records.run(each.opened.run_id) for each in runs]


class _Holder:
    """Another program that takes the database's lock and keeps it; a hook of the records, too."""

    def __init__(self, path: Path, *, when: str) -> None:
        self._connection = sqlite3.connect(path, isolation_level=None)
        self._when = when
        self._armed = False

    def arm(self, *, now: bool) -> None:
        """Take the lock now, or at the next visit to the point."""
        self._armed = True
        if now:
            self._take()

    def __call__(self, point: str) -> None:
        """Take the lock if this is the point."""
        if self._armed and point == self._when:
            self._take()

    def let_go(self) -> None:
        """Give the lock back."""
        self._connection.execute("ROLLBACK")

    def close(self) -> None:
        """End the other program."""
        self._connection.close()

    def _take(self) -> None:
        self._armed = False
        self._connection.execute("BEGIN IMMEDIATE")
