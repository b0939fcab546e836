"""Short nights: what they find, and that a seed gives the same night."""

import pytest

from drivers.traced import Transcript
from station.nightly.compared import beyond_bounds
from station.nightly.figures import figures_of
from station.nightly.night import run_night
from station.nightly.pool import Job, run_jobs
from tests.nightly.nights import short


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "units"),
    [
        ("healthy", 6),
        ("loose-contact", 10),
        ("operators", 14),
        ("unplugged", 10),
        ("late-doubled", 8),
        ("wrong-spacer", 6),
        ("shorted-turns", 12),
        ("metal-near", 8),
        ("noisy-ambient", 4),
        ("bin-ends", 4),
        ("hot-coil", 4),
        ("mains-hum", 4),
        ("fault-sweep", 16),
        ("heated", 2),
        ("heated-interrupted", 5),
    ],
)
def test_night_is_within_what_its_scenario_allows(name: str, units: int) -> None:
    """A few units of a scenario: no escape, no drive left on, no record lost, and the rest of its bounds."""
    scenario = short(name, units)
    night = run_night(scenario, 1)

    assert ([], units) == (beyond_bounds(scenario, night), night.counts["units"])


@pytest.mark.slow
def test_drifting_meter_is_found_by_the_last_verification_and_its_units_are_held() -> None:
    """What passed while the meter drifted is not passed in the end."""
    night = run_night(short("drifting-lcr", 24), 1)

    assert (0, 0.5, 1.0) == tuple(figures_of(night)[each] for each in ("escapes", "verified", "held"))


@pytest.mark.slow
def test_replay_is_the_same_night_to_the_last_byte() -> None:
    """The same scenario and seed give equal tallies and equal messages on all links, at equal times."""
    first, second = Transcript(), Transcript()
    scenario = short("late-doubled", 4)
    nights = [run_night(scenario, 3, transcript=each) for each in (first, second)]

    assert nights[0] == nights[1]
    assert len(first) > 1_000
    assert first.messages() == second.messages()


@pytest.mark.slow
def test_two_cores_give_what_one_gives() -> None:
    """Processes of their own, whichever is done first: equal tallies in equal order."""
    jobs = [Job(short("healthy", 3), 1), Job(short("hand-warmed", 3), 2), Job(short("heated", 1), 3)]

    assert run_jobs(jobs, cores=1) == run_jobs(jobs, cores=2)
