"""The station killed (SIGKILL) in the middle of its work, again and again on one home; what must hold each time.

`python -m tests.nightly.crashes --kills 500 --whole-every 20` prints the table. A child opens the bench, measures
units, says each run that was acknowledged, and kills itself at a named point of a write or before a message to an
instrument. It is forked from this process, which has one thread only: run it as a process of its own.
"""

import argparse
import json
import os
import random
import signal
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path

from station.core.results import Decision
from station.errors import StationError
from station.records import Records
from tests.end_to_end.shop import serial_of
from tests.nightly.small_station import new_home, opened

MESSAGE = "message"
POINTS = (
    "open_run.written",
    "open_run.committed",
    "close_run.begun",
    "close_run.written",
    "close_run.committed",
    "close_unfinished.written",
    MESSAGE,
)
"""Before, within and after each commit of a run, while runs of a crash are closed, and anywhere between."""

UNITS = 3
MOST_MESSAGES = 450
"""About three units' worth."""


@dataclass(slots=True)
class Kill:
    """One kill and what came of it. `wrong` must stay empty."""

    point: str
    visit: int
    acknowledged: int = 0
    left_open: int = 0
    wrong: list[str] = field(default_factory=list)


@dataclass(slots=True)
class _Ledger:
    """What was shown so far, and which runs crashes have left open."""

    shown: dict[str, str] = field(default_factory=dict)
    serials: list[str] = field(default_factory=list)
    open_runs: set[str] = field(default_factory=set)


def kill_again_and_again(home: Path, kills: int, seed: int, *, whole_every: int = 1) -> Iterator[Kill]:
    """Kill the station `kills` times on one home, points in turn; yield what came of each.

    Everything on record is looked at after each `whole_every`-th kill and the last one, else what is new: all of it
    each time would take hours for thousands of kills.
    """
    chance = random.Random(seed)
    new_home(home)
    ledger = _Ledger()
    for number in range(kills):
        point = POINTS[number % len(POINTS)]
        once = point == "close_unfinished.written"
        visit = 1 if once else chance.randint(1, MOST_MESSAGES if point == MESSAGE else UNITS)
        kill = Kill(point, visit)
        serials = [serial_of(number * UNITS + each) for each in range(UNITS)]
        ledger.serials.extend(serials)
        told, status = _run_child(home, point, visit, serials)
        if not (os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL):
            kill.wrong.append(f"was to be killed at visit {visit} of {point}; ended with status {status}")
        kill.acknowledged = len(told)
        ledger.shown |= told
        whole = number % whole_every == 0 or number == kills - 1
        _look(home, ledger, kill, told, whole=whole)
        yield kill


def _run_child(home: Path, point: str, visit: int, serials: Sequence[str]) -> tuple[dict[str, str], int]:
    """Fork; return what the child acknowledged (run id to decision) and how it ended."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reader)
        status = 1
        with suppress(BaseException):
            _work(home, point, visit, serials, writer)
            status = 0
        os._exit(status)
    os.close(writer)
    with os.fdopen(reader, encoding="ascii") as pipe:
        told = dict(line.split() for line in pipe.read().splitlines())
    return told, os.waitpid(child, 0)[1]


def _work(home: Path, point: str, visit: int, serials: Sequence[str], writer: int) -> None:
    visits: Counter[str] = Counter()

    def hook(name: str) -> None:
        visits[name] += 1
        if name == point and visits[name] == visit:
            os.kill(os.getpid(), signal.SIGKILL)

    with opened(home, serials, hook=hook, at_message=lambda: hook(MESSAGE)) as station:
        for each in serials:
            record = station.measure(each)
            os.write(writer, f"{record.opened.run_id} {record.decision.value}\n".encode("ascii"))


def _look(home: Path, ledger: _Ledger, kill: Kill, told: dict[str, str], *, whole: bool) -> None:
    """What must hold: shown runs whole, at most one run open, earlier open ones closed as INVALID, chains sound."""
    with Records.open(home) as records:
        for run_id, decision in (ledger.shown if whole else told).items():
            _look_at_shown(records, run_id, decision, kill)
        # An open run is one of this kill or of the two before: kills while the bench opens close none.
        serials = ledger.serials if whole else ledger.serials[-3 * UNITS :]
        runs = [each for scan in serials for each in records.runs_of(scan)]
        now_open = {each.run_id for each in runs if each.decision is None}
        for run_id in ledger.open_runs - now_open:
            closed = records.run(run_id)
            code = "" if closed.reason is None else closed.reason.code
            if (closed.decision, code) != (Decision.INVALID, "station_stopped"):
                kill.wrong.append(f"run {run_id} was left open and is now {closed.decision} {code}")
        for each in runs:
            if each.decision is not None:
                records.run(each.run_id)  # raises for a torn one
        if told and ledger.open_runs & now_open:
            kill.wrong.append("the bench was opened, and runs of the crash before are open still")
        if len(now_open) > 1:
            kill.wrong.append(f"{len(now_open)} runs are open")
        if whole:
            kill.wrong.extend(each.words for each in records.check().faults)
    ledger.open_runs, kill.left_open = now_open, len(now_open)


def _look_at_shown(records: Records, run_id: str, decision: str, kill: Kill) -> None:
    try:
        run = records.run(run_id)
    except StationError as error:
        kill.wrong.append(f"lost: {error}")
        return
    if (run.decision.value, bool(run.results), run.drive_off_verified) != (decision, True, True):
        kill.wrong.append(f"torn: run {run_id} was shown as {decision}, is {run.decision}")


def main() -> int:
    """Kill, then print the table, or a line of JSON a kill."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--whole-every", type=int, default=1, help="look at all that is on record only so often")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    done: list[Kill] = []
    with tempfile.TemporaryDirectory() as home:
        for kill in kill_again_and_again(Path(home), asked.kills, asked.seed, whole_every=asked.whole_every):
            done.append(kill)
            if asked.json:
                print(json.dumps(asdict(kill)), flush=True)
    if not asked.json:
        print(f"{'killed at':<28}{'kills':>7}{'shown':>7}{'left open':>11}{'wrong':>7}")
        for point in POINTS:
            own = [each for each in done if each.point == point]
            shown, left = sum(each.acknowledged for each in own), sum(each.left_open for each in own)
            print(f"{point:<28}{len(own):>7}{shown:>7}{left:>11}{sum(bool(each.wrong) for each in own):>7}")
        for each in done:
            if each.wrong:
                print(f"WRONG {each.point}, visit {each.visit}: {'; '.join(each.wrong)}")
    return int(any(each.wrong for each in done))


if __name__ == "__main__":
    sys.exit(main())
