"""What goes wrong on a night: numbered, the same for the same seed, and each of it can be left out."""

from sim.faults import FaultKind
from station.nightly.night import run_night
from station.nightly.scenario import SWEPT, SWEPT_KINDS
from station.nightly.script import script_of
from tests.nightly.nights import short


def test_script_is_the_seeds_and_numbered_from_1() -> None:
    """Equal for equal seeds, other places for others; faults of the night and acts in one list."""
    scenario = short("late-doubled", 32)
    first, again, other = script_of(scenario, 1), script_of(scenario, 1), script_of(scenario, 2)

    assert first == again
    assert first.faults != other.faults
    assert list(range(1, 37)) == [each.number for each in first.mishaps]
    assert 36 == len(first.faults)


def test_sweep_strikes_every_unit_but_the_first_with_each_pair_in_turn() -> None:
    """Over as many units as there are pairs each instrument has met each kind once."""
    pairs = len(SWEPT) * len(SWEPT_KINDS)
    strikes = script_of(short("fault-sweep", pairs + 1), 1).strikes()
    met = {(each.fault.instrument, each.fault.kind) for each in strikes.values() if each.fault is not None}

    assert list(range(1, pairs + 1)) == sorted(strikes)
    assert {(name, FaultKind(kind)) for name in SWEPT for kind in SWEPT_KINDS} == met


def test_acts_fall_on_their_units() -> None:
    """Each act once in as many units as the scenario says; two may fall on one unit."""
    acts = script_of(short("operators", 40), 1).acts()

    assert 8 == sum("double_scan" in each for each in acts.values())
    assert 6 == sum("swap" in each for each in acts.values())


def test_night_without_its_mishaps_is_a_good_one() -> None:
    """Nothing of the script: no run is INVALID; with one act only that one is."""
    scenario = short("operators", 4)
    script = script_of(scenario, 1)
    swap = next(each.number for each in script.mishaps if each.act == "swap")
    nothing, one = (run_night(scenario, 1, only=each) for each in ((), (swap,)))

    assert (0, 1) == (nothing.counts.get("invalid_runs", 0), one.counts.get("invalid_runs", 0))
