"""All nights on all cores: processes of their own, started afresh, one numerical thread each.

The order of results is that of the jobs, whichever is done first. Nothing heavy is imported before a job runs.
"""

import os
import signal
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from multiprocessing import get_context, parent_process
from multiprocessing.connection import wait
from threading import Thread

from drivers.stop import Stopped
from station.nightly.scenario import Scenario
from station.nightly.tally import Tally

_ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
"""What numerical libraries look at when they are loaded."""

_GRACE_S = 3.0

NIGHT_FAILED = "night_failed"


@dataclass(frozen=True, slots=True)
class Job:
    """One night."""

    scenario: Scenario
    seed: int
    only: tuple[int, ...] | None = None
    """Numbers of the mishaps that happen; None: all."""


def jobs_of(scenarios: Sequence[Scenario], seeds: int) -> list[Job]:
    """Return each scenario with the seeds 1 to `seeds`."""
    return [Job(scenario, seed) for scenario in scenarios for seed in range(1, seeds + 1)]


def usable_cores() -> int:
    """Return how many cores this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # macOS has no affinities
        return os.cpu_count() or 1


def run_jobs(
    jobs: Sequence[Job], *, cores: int, tell: Callable[[Tally], object] = lambda tally: None
) -> list[Tally]:
    """Carry out `jobs` on so many cores; return their tallies in order. `tell` hears each as it comes.

    A night that breaks off by an error of the program counts `night_failed`; the others go on. Raises `Stopped` when a
    signal asks to end.
    """
    if cores <= 1 or len(jobs) <= 1:
        _use_one_thread()
        found = []
        for job in jobs:
            found.append(carry_out(job))
            tell(found[-1])
        return found
    pool = ProcessPoolExecutor(min(cores, len(jobs)), mp_context=get_context("spawn"), initializer=_begin)
    try:
        places = {pool.submit(carry_out, job): place for place, job in enumerate(jobs)}
        done: dict[int, Tally] = {}
        for future in as_completed(places):
            done[places[future]] = future.result()
            tell(done[places[future]])
    finally:
        pool.shutdown(cancel_futures=True)
    return [done[place] for place in range(len(jobs))]


def carry_out(job: Job) -> Tally:
    """Carry out one night, whatever happens in it."""
    from station.nightly.night import run_night

    try:
        return run_night(job.scenario, job.seed, only=job.only)
    except Stopped:
        raise
    except Exception as error:  # one broken night must not hide what the others found
        words = f"seed {job.seed}: {NIGHT_FAILED}: {type(error).__name__}: {error}"
        return Tally(job.scenario.name, (job.seed,), {NIGHT_FAILED: 1}, {}, 0.0, notes=(words,))


def _begin() -> None:
    _use_one_thread()
    Thread(target=_end_with_parent, name="ends with its parent", daemon=True).start()


def _end_with_parent() -> None:
    """End this process when the one that started it is gone.

    A worker holds both ends of the queue that it waits at: it would wait for ever. It is asked first, so that a night
    that runs takes its folder away.
    """
    parent = parent_process()
    if parent is None:
        return
    wait([parent.sentinel])
    os.kill(os.getpid(), signal.SIGTERM)
    time.sleep(_GRACE_S)
    os._exit(1)


def _use_one_thread() -> None:
    for name in _ONE_THREAD:
        os.environ[name] = "1"
