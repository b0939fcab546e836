"""The height stage: finds its end, goes where it is told, notices lost steps, halts for hands."""

import pytest

from tests.firmware.boards import SimulatedBoard
from tests.firmware.conftest import BoardMaker
from tests.firmware.lines import ask

GUARD, STOP = 8, 9
UM_PER_STEP = 10
DRIVER_PATIENCE_US = 2_450_000
"""Time for the longest move and a plain response, as the dialect has them."""


def test_nothing_moves_at_power_on(make_board: BoardMaker) -> None:
    """The end is looked for with the first move; until then the height is not known: 0."""
    board = make_board(stage_steps=700)
    board.run(5.0)

    assert 700 == board.stage_steps
    assert "OK -G--- OPEN 0 0" == ask(board, "STATE")


@pytest.mark.parametrize("start", [0, 1, 700])
@pytest.mark.parametrize("height_um", [500, 8000, 20_000])
def test_first_height_is_right_wherever_the_stage_stood(make_board: BoardMaker, start: int, height_um: int) -> None:
    """The end switch is found first."""
    board = make_board(stage_steps=start)

    assert f"OK -G--- {height_um}" == ask(board, f"HEIGHT {height_um}")
    assert 20_000 - height_um == board.stage_steps * UM_PER_STEP
    assert f"OK -G--- OPEN {height_um} 0" == ask(board, "STATE")


def test_end_that_is_higher_than_the_retracted_height_is_counted(make_board: BoardMaker) -> None:
    """Heights are counted from where the switch was found to be when calibrated."""
    board = make_board(constants={"stage_home_um": 20_130})
    ask(board, "HEIGHT 2000")

    assert 18_130 == board.stage_steps * UM_PER_STEP


def test_height_between_two_steps_is_told_as_it_is(board: SimulatedBoard) -> None:
    """The response says what was asked, the state where the sensor is."""

    assert "OK -G--- 2004" == ask(board, "HEIGHT 2004")
    assert "OK -G--- OPEN 2000 0" == ask(board, "STATE")


def test_longest_move_is_done_in_the_drivers_time(board: SimulatedBoard) -> None:
    """10 mm/s, with a little for starting and stopping."""
    ask(board, "RETRACT")
    start_us = board.now_us
    ask(board, "HEIGHT 500")

    assert 1_950_000 <= board.now_us - start_us <= DRIVER_PATIENCE_US


def test_lost_steps_are_told_at_the_next_retract(board: SimulatedBoard) -> None:
    """Heights since then were wrong: error 4, once; the end has been found anew."""
    ask(board, "HEIGHT 2000")
    board.order("lose 30")

    assert "ERR -G--- 4 hardware" == ask(board, "RETRACT")
    assert "OK -G--- 2000" == ask(board, "HEIGHT 2000")
    assert 18_000 == board.stage_steps * UM_PER_STEP


@pytest.mark.parametrize(("pin", "flags"), [(GUARD, "-----"), (STOP, "-GS--")], ids=["guard", "stop"])
@pytest.mark.parametrize("command", ["HEIGHT 2000", "RETRACT"])
def test_stage_halts_for_hands(board: SimulatedBoard, pin: int, flags: str, command: str) -> None:
    """Guard open or stop pressed in the middle of a move: it halts at once, and knows where it is."""
    ask(board, "HEIGHT 9000")
    start_steps = board.stage_steps
    board.after(0.1, f"in {pin} 1")

    assert f"ERR {flags} 3 not_allowed_now" == ask(board, command)
    assert 80 <= abs(board.stage_steps - start_steps) <= 100
    board.order(f"in {pin} 0")
    ask(board, "HEIGHT 5000")
    assert 15_000 == board.stage_steps * UM_PER_STEP


def test_broken_end_switch_is_told(make_board: BoardMaker) -> None:
    """The stage does not push on for ever."""
    board = make_board(stage_steps=5000)

    assert "ERR -G--- 4 hardware" == ask(board, "RETRACT")


def test_fixture_without_a_stage_says_so(make_board: BoardMaker) -> None:
    """No height in the state, and its commands are unknown."""
    board = make_board(constants={"has_stage": 0})

    assert "OK -G--- OPEN - 0" == ask(board, "STATE")
    assert ["ERR -G--- 1 unknown_command"] * 2 == [ask(board, "HEIGHT 2000"), ask(board, "RETRACT")]
