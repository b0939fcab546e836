"""The mains cut in the middle of work: the database's files as they might be found, opened again.

A child measures units and says what it has shown. It is stopped at random instants, its files are copied, and it
goes on. What a cut can lose is what was not yet synchronised: sectors of the log written since the last commit.
So in the copy each such sector is the new one or the old one by chance, in any order. SQLite synchronises the
log's header before what follows it, and the log before the database file; the copies keep to that.

`python -m tests.nightly.power_cut --cuts 200` prints what came of them.
"""

import argparse
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from station.core.results import Decision
from station.errors import StationError
from station.records import Records
from tests.end_to_end.shop import serial_of
from tests.nightly.small_station import BENCH, START_UTC, new_home, opened

_SECTOR = 512
_LOG_HEADER = 32  # https://sqlite.org/fileformat2.html, 4.1
_DATABASE, _LOG, _INDEX = "records.sqlite3", "records.sqlite3-wal", "records.sqlite3-shm"
_CUTS_A_CHILD = 25


@dataclass(slots=True)
class Cut:
    """One cut and what was found. `wrong` must stay empty."""

    shown: int
    sectors_lost: int
    left_open: int = 0
    wrong: list[str] = field(default_factory=list)


@dataclass(slots=True)
class _Seen:
    """What the child has said so far."""

    shown: dict[str, str] = field(default_factory=dict)
    log: Path | None = None
    database_changed_ns: int = 0
    _rest: bytes = b""

    def listen(self, pipe: IO[bytes]) -> None:
        """Take what the child says next."""
        said = os.read(pipe.fileno(), 65_536)
        if not said:
            raise RuntimeError("the station ended by itself")
        self._take(said)

    def listen_to_the_end(self, pipe: IO[bytes]) -> None:
        """Take all that the child, now stopped, has said: the last line may be a piece."""
        os.set_blocking(pipe.fileno(), False)
        with suppress(BlockingIOError):
            while True:
                self._take(os.read(pipe.fileno(), 65_536))
        os.set_blocking(pipe.fileno(), True)

    def forget_the_rest(self) -> None:
        """The child is dead: what it began to say will never end."""
        self._rest = b""

    def _take(self, said: bytes) -> None:
        *lines, self._rest = (self._rest + said).split(b"\n")
        for line in lines:
            self._take_line(line.decode())

    def _take_line(self, line: str) -> None:
        kind, *words = line.split()
        if kind == "shown":
            self.shown[words[0]] = words[1]
        elif kind == "log":
            self.log, self.database_changed_ns = Path(words[0]), int(words[1])


def cut_again_and_again(folder: Path, cuts: int, seed: int) -> Iterator[Cut]:
    """Cut the power `cuts` times; yield what each copy held when opened again."""
    chance = random.Random(seed)
    home = folder / "home"
    new_home(home)
    seen, done, first = _Seen(), 0, 0
    while done < cuts:
        command = [sys.executable, "-m", "tests.nightly.power_cut", "--work", str(home), "--first", str(first)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, bufsize=0) as child:
            assert child.stdout is not None
            for _ in range(min(_CUTS_A_CHILD, cuts - done)):
                for _ in range(chance.randint(1, 12)):
                    seen.listen(child.stdout)
                yield _cut(child, child.stdout, home, folder / f"cut-{done}", seen, chance)
                done += 1
            child.kill()
        seen.forget_the_rest()
        first += 10_000


def _cut(
    child: subprocess.Popen[bytes], pipe: IO[bytes], home: Path, copy: Path, seen: _Seen, chance: random.Random
) -> Cut:
    os.kill(child.pid, signal.SIGSTOP)
    os.waitpid(child.pid, os.WUNTRACED)
    seen.listen_to_the_end(pipe)
    copy.mkdir()
    try:
        cut = Cut(len(seen.shown), _copy_files(home, copy, seen, chance))
        _look(copy, seen, cut)
    finally:
        shutil.rmtree(copy)
    # Only now: else it would fill the records while they are looked at.
    os.kill(child.pid, signal.SIGCONT)
    return cut


def _copy_files(home: Path, copy: Path, seen: _Seen, chance: random.Random) -> int:
    """Copy what a cut leaves; return how many sectors of the log are the old ones."""
    shutil.copy2(home / "records.key", copy)
    shutil.copy2(home / _DATABASE, copy)
    if chance.random() < 0.5:
        shutil.copy2(home / _INDEX, copy)
    log = (home / _LOG).read_bytes()
    lost = 0
    # Once the database file has changed the log was synchronised before: then nothing of it can be lost.
    if seen.log is not None and (home / _DATABASE).stat().st_mtime_ns == seen.database_changed_ns:
        log, lost = _torn(seen.log.read_bytes(), log, chance)
    (copy / _LOG).write_bytes(log)
    return lost


def _torn(old: bytes, new: bytes, chance: random.Random) -> tuple[bytes, int]:
    """Return the log with each sector that has changed the new one or, by chance, still the old one."""
    old = old.ljust(len(new), b"\0")
    torn, lost = bytearray(new), 0
    share = chance.choice((0.0, 0.1, 0.5, 1.0))
    for begin in range(0, len(new), _SECTOR):
        at = slice(max(begin, _LOG_HEADER), begin + _SECTOR)
        if old[at] != new[at] and chance.random() < share:
            torn[at], lost = old[at], lost + 1
    return bytes(torn), lost


def _look(copy: Path, seen: _Seen, cut: Cut) -> None:
    """What must hold: all that was shown is there and whole, the rest is closed as INVALID, the next unit runs."""
    try:
        with Records.open(copy) as records:
            for run_id, decision in seen.shown.items():
                if records.run(run_id).decision != Decision(decision):
                    cut.wrong.append(f"run {run_id} was shown as {decision}")
            left = records.close_unfinished(BENCH, closed_utc=START_UTC)
            cut.left_open = len(left)
            if any(records.run(each).decision is not Decision.INVALID for each in left):
                cut.wrong.append("an unfinished run was not closed as INVALID")
            cut.wrong.extend(each.words for each in records.check().faults)
        new = serial_of(900_000)
        with opened(copy, [new]) as station:
            if station.measure(new).decision is not Decision.PASS:
                cut.wrong.append("the next unit did not pass")
    except StationError as error:
        cut.wrong.append(str(error))


def work(home: Path, first: int) -> None:
    """Measure unit after unit, saying what was shown; before and after each write, lay the log aside."""
    aside = home.parent / "aside"
    aside.mkdir(exist_ok=True)
    number = 0

    def lay_aside(_point: str) -> None:
        nonlocal number
        number += 1
        there = aside / f"{first}-{number % 8}.wal"
        draft = there.with_suffix(".draft")
        shutil.copyfile(home / _LOG, draft)
        draft.replace(there)
        print("log", there, (home / _DATABASE).stat().st_mtime_ns, flush=True)

    serials = [serial_of(first + each) for each in range(5_000)]
    with opened(home, serials, hook=lay_aside) as station:
        for each in serials:
            record = station.measure(each)
            print("shown", record.opened.run_id, record.decision.value, flush=True)


def main() -> int:
    """Work as the child, or cut and print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cuts", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--work", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--first", type=int, default=0, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.work is not None:
        work(asked.work, asked.first)
        return 0
    with tempfile.TemporaryDirectory() as folder:
        cuts = list(cut_again_and_again(Path(folder), asked.cuts, asked.seed))
    torn, left = sum(each.sectors_lost > 0 for each in cuts), sum(each.left_open for each in cuts)
    wrong = sum(bool(each.wrong) for each in cuts)
    print(f"{len(cuts)} cuts, {torn} with sectors lost, {left} runs left open, {wrong} wrong")
    for each in cuts:
        for words in each.wrong:
            print(f"WRONG after {each.shown} shown, {each.sectors_lost} sectors lost: {words}")
    return int(any(each.wrong for each in cuts))


if __name__ == "__main__":
    sys.exit(main())
