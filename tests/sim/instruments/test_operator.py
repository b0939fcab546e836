"""The simulated operator's hands."""

from sim.bench import OPERATOR, BenchOptions
from sim.lot import truth_near
from tests.sim.talk import Talk


def test_unit_is_in_the_nest_after_the_handling_time() -> None:
    """`OK` comes at once, the unit a second later, with the guard open meanwhile."""
    talk = Talk()

    assert "OK" == talk.ask(OPERATOR, "LOAD L2641-01-A01")
    assert "OK ----- OPEN 20000 0" == talk.fixture("STATE")
    assert "EMPTY" == talk.ask(OPERATOR, "STATE?")

    talk.clock.sleep(1.0)

    assert "OK LG--- OPEN 20000 1" == talk.fixture("STATE")
    assert "LOADED L2641-01-A01" == talk.ask(OPERATOR, "STATE?")


def test_hands_do_one_thing_after_the_other() -> None:
    """Unloading and loading asked for together take two handling times."""
    talk = Talk(units=[truth_near("U1"), truth_near("U2")])
    talk.load("U1")
    talk.tell(OPERATOR, "UNLOAD", "LOAD U2")
    start_s = talk.clock.monotonic()
    seen = []
    for after_s in (0.9, 1.1, 2.1):
        talk.clock.advance_to(start_s + after_s)
        talk.host.run_to(start_s + after_s)
        seen.append(talk.world.unit)

    assert ["U1", "empty", "U2"] == seen


def test_second_load_is_refused() -> None:
    """A nest holds one unit."""
    talk = Talk()
    talk.load("L2641-01-A01")

    assert "ERR nest holds L2641-01-A01: unload it first" == talk.ask(OPERATOR, "LOAD L2641-01-A02")


def test_what_cannot_be_done_is_told() -> None:
    """Unknown units, an empty nest, words and numbers that are none."""
    talk = Talk()
    asked = ("LOAD L9999-01-A01", "UNLOAD", "DANCE", "WARM much", "WARM 900", "GUARD AJAR", "SPACER 2000")
    answers = [talk.ask(OPERATOR, words) for words in asked]

    assert [
        "ERR no unit L9999-01-A01 here",
        "ERR nest is empty",
        "ERR unknown command DANCE",
        "ERR much is no number",
        "ERR 900 is out of range",
        "ERR say CLOSED or OPEN",
        "ERR the fixture has a stage: no spacer fits",
    ] == answers


def test_spacer_of_nothing_is_taken_away() -> None:
    """`SPACER 0` is the retracted sensor; a number that is none is refused."""
    talk = Talk(options=BenchOptions(has_stage=False))
    talk.ask(OPERATOR, "SPACER 4000")
    low = talk.world.height_m
    talk.ask(OPERATOR, "SPACER 0")

    assert (0.004, 0.020) == (low, talk.world.height_m)
    assert "ERR a spacer is 0 to 20000 um" == talk.ask(OPERATOR, "SPACER high")


def test_only_the_next_unit_comes_warm() -> None:
    """`WARM 4` is for one unit."""
    talk = Talk(options=BenchOptions(handling_s=0.1), units=[truth_near("U1"), truth_near("U2")])
    talk.ask(OPERATOR, "WARM 4")
    talk.load("U1")
    first_k = talk.world.rise_k
    talk.ask(OPERATOR, "UNLOAD")
    talk.clock.sleep(1.0)
    talk.load("U2")

    assert 4.0 == first_k
    assert 0.0 == talk.world.rise_k


def test_ambient_can_be_set() -> None:
    """The shop gets warm."""
    talk = Talk()
    talk.ask(OPERATOR, "AMBIENT 31.5")

    assert "+031.500,+031.500" == talk.temperatures()


def test_identity_is_told() -> None:
    """`ID?` answers four fields."""

    assert "INVENTED,HANDS,HANDS001,1.0" == Talk().ask(OPERATOR, "ID?")
