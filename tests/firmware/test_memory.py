"""What the fixture keeps in flash: the count of contacts, and the constants."""

from pathlib import Path

import pytest

from tests.firmware.boards import SimulatedBoard
from tests.firmware.conftest import BoardMaker
from tests.firmware.lines import ask

LOADED, ENABLE = 7, 2


def seat(board: SimulatedBoard) -> None:
    """Put a unit in and take it out again."""
    for level in (0, 1):
        board.order(f"in {LOADED} {level}")
        board.run(0.1)


def count(board: SimulatedBoard) -> int:
    """Return the contact cycles that the state tells."""
    return int(ask(board, "STATE").split()[-1])


def test_each_seating_is_counted_once(board: SimulatedBoard) -> None:
    """A unit that lies still for 50 ms."""
    for _ in range(3):
        seat(board)

    assert 3 == count(board)


def test_bouncing_switch_is_no_seating(board: SimulatedBoard) -> None:
    """Closures shorter than 50 ms are not counted."""
    for _ in range(5):
        for level in (0, 1):
            board.order(f"in {LOADED} {level}")
            board.run(0.02)

    assert 0 == count(board)


def test_count_survives_power_off(board: SimulatedBoard) -> None:
    """It is in flash; the unit that lies there at power-on was counted before."""
    for _ in range(3):
        seat(board)
    board.order(f"in {LOADED} 0")
    board.run(0.1)
    board.cycle_power()

    assert 4 == count(board)


@pytest.mark.parametrize("damage", ["", "99", "99*0000", "x*1234"])
@pytest.mark.parametrize("newest", ["cycles-0", "cycles-1"])
def test_power_cut_while_counting_costs_one_at_most(
    board: SimulatedBoard, tmp_path: Path, damage: str, newest: str
) -> None:
    """A half-written file is known by its checksum; the other one has the count before."""
    seats = 4 if newest == "cycles-1" else 5
    for _ in range(seats):
        seat(board)
    (tmp_path / newest).write_text(damage)
    board.cycle_power()

    assert seats - 1 == count(board)
    seat(board)
    board.cycle_power()
    assert seats == count(board)


def test_older_file_is_written_next_also_after_power_off(board: SimulatedBoard, tmp_path: Path) -> None:
    """The newest count is never the one that is being overwritten."""
    for _ in range(3):
        seat(board)
    board.cycle_power()
    seat(board)
    kept = [(tmp_path / name).read_text().partition("*")[0] for name in ("cycles-0", "cycles-1")]

    assert ["3", "4"] == kept


def test_count_that_cannot_be_kept_is_told(board: SimulatedBoard, tmp_path: Path) -> None:
    """The next command is answered with error 4."""
    (tmp_path / "cycles-0").mkdir()
    seat(board)

    assert "ERR -G--- 4 hardware" == ask(board, "STATE")
    assert "OK -G--- OPEN 20000 1" == ask(board, "STATE")


def test_constants_can_be_read_out(make_board: BoardMaker) -> None:
    """Each by its name; the digest of all changes with any of them."""
    board = make_board(constants={"field_pt_per_count": 1_600_001})
    digest, *names = ask(make_board(), "CAL").split()[2:]

    assert 21 == len(names)
    assert "OK -G--- field_pt_per_count 1600001" == ask(board, "CAL field_pt_per_count")
    assert digest != ask(board, "CAL").split()[2]
    assert "ERR -G--- 2 bad_argument" == ask(board, "CAL nonsense")


def test_constants_go_into_one_line_that_a_driver_takes(board: SimulatedBoard) -> None:
    """Drivers accept 1024 bytes."""
    ask(board, "CAL")

    assert len(board.sent()) <= 1024


@pytest.mark.parametrize(
    ("constants", "told"),
    [
        ({"dead_man_ms": 2001}, "'dead_man_ms' must be a whole number of 100 to 2000; got 2001"),
        ({"dead_man_ms": "2000"}, "'dead_man_ms' must be a whole number of 100 to 2000; got '2000'"),
        ({"dead_man_ms": 2000.0}, "'dead_man_ms' must be a whole number of 100 to 2000; got 2000.0"),
        ({"has_stage": True}, "'has_stage' must be a whole number of 0 to 1; got True"),
        ({"serial": "FIX 1"}, "'serial' must be 1 to 32 printable characters without spaces; got 'FIX 1'"),
        ({"serial": "FIX*1"}, "'serial' must have no *; got 'FIX*1'"),
        ({"thermometer_unit": "K"}, "'thermometer_unit' must be one of ('C', 'V'); got 'K'"),
        ({"dead_man_s": 2}, "'dead_man_s' is not known; remove it"),
    ],
)
def test_unsound_constants_leave_the_board_safe_and_silent(
    make_board: BoardMaker, constants: dict[str, object], told: str
) -> None:
    """Each mistake is told on the console; no constant is ever guessed, and nothing is served."""
    board = make_board(constants=constants)

    assert board.ended
    assert [f"calibration.json: {told}"] == board.other
    assert 0 == board.level(ENABLE)


def test_all_mistakes_are_told_at_once(make_board: BoardMaker) -> None:
    """One line each."""
    board = make_board(constants={"dead_man_ms": 0, "maker": "", "model": None})

    assert 3 == len(board.other)
