"""All nights on all cores. The order of results is that of the jobs, whichever is done first."""

from collections.abc import Callable, Sequence
from concurrent.futures import as_completed
from dataclasses import dataclass

from drivers.stop import Stopped
from station.nightly.scenario import Scenario
from station.nightly.tally import Tally
from station.workers import use_one_thread, worker_pool

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


def run_jobs(
    jobs: Sequence[Job], *, cores: int, tell: Callable[[Tally], object] = lambda tally: None
) -> list[Tally]:
    """Carry out `jobs` on so many cores; return their tallies in order. `tell` hears each as it comes.

    A night that breaks off by an error of the program counts `night_failed`; the others go on. Raises `Stopped` when a
    signal asks to end.
    """
    if cores <= 1 or len(jobs) <= 1:
        use_one_thread()
        found = []
        for job in jobs:
            found.append(carry_out(job))
            tell(found[-1])
        return found
    pool = worker_pool(min(cores, len(jobs)))
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
