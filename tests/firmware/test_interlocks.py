"""The drive-enable line: dead-man, guard, hand stop, over-temperature cut, and every way out of the program."""

import pytest

from tests.firmware.boards import SimulatedBoard
from tests.firmware.conftest import BoardMaker
from tests.firmware.lines import ask, framed, unframed

ENABLE, FORWARD = 2, 4
GUARD, STOP, CUT = 8, 9, 10
WATCHDOG_MS = 1000
DEAD_MAN_US = 2_000_000
"""Counted by the firmware in whole milliseconds."""


def drive(board: SimulatedBoard) -> None:
    """Enable the drive and make the forward route."""
    assert ask(board, "ALIVE") == "OK -G-E-"
    assert ask(board, "ROUTE FWD") == "OK -G-E- FWD"


def test_outputs_are_low_before_anything_else(board: SimulatedBoard) -> None:
    """At power-on the first that happens is the drive off and the routes open; then the watchdog starts."""

    assert [(ENABLE, 0), (3, 0), (FORWARD, 0), (5, 0), (6, 0)] == board.pins(*range(30))
    assert ("watchdog", (str(WATCHDOG_MS),)) == (board.events[5].word, board.events[5].fields)


def test_dead_man_drops_the_drive_then_the_route_by_itself(board: SimulatedBoard) -> None:
    """2 s after the last ALIVE, without any message; the enable relay breaks the current, the route follows."""
    drive(board)
    board.run_to(1_990_000)
    assert (1, 1) == (board.level(ENABLE), board.level(FORWARD))
    board.run_to(2_020_000)

    assert [(ENABLE, 0), (FORWARD, 0)] == board.pins(ENABLE, FORWARD)[-2:]
    assert abs(board.changes(ENABLE)[-1] - board.changes(ENABLE)[-2] - DEAD_MAN_US) <= 6000  # rests of 5 ms
    assert 10_000 <= board.changes(FORWARD)[-1] - board.changes(ENABLE)[-1]
    assert "OK -G--R OPEN 20000 0" == ask(board, "STATE")


def test_sign_of_life_each_second_keeps_the_drive(board: SimulatedBoard) -> None:
    """The dead-man counts from the last ALIVE."""
    drive(board)
    for _ in range(10):
        board.run(1.0)
        ask(board, "ALIVE")

    assert "OK -G-E- FWD 20000 0" == ask(board, "STATE")


def test_other_messages_are_no_sign_of_life(board: SimulatedBoard) -> None:
    """A station that only asks for states is not in charge."""
    drive(board)
    for _ in range(5):
        board.run(0.5)
        ask(board, "STATE")

    assert 0 == board.level(ENABLE)


def test_dead_man_fires_in_the_middle_of_a_long_command(board: SimulatedBoard) -> None:
    """No command is too busy to watch: 10 s of averaging, and the drive is off after 2 s."""
    drive(board)
    told = ask(board, "FIELD 500")

    assert abs(board.changes(ENABLE)[-1] - board.changes(ENABLE)[-2] - DEAD_MAN_US) <= 1000
    assert 0 == board.level(FORWARD)
    assert "OK -G--R 0 V" == told


def test_sign_of_life_is_answered_in_the_middle_of_a_long_command(board: SimulatedBoard) -> None:
    """ALIVE never waits for the command before it."""
    drive(board)
    for second in range(1, 5):
        board.after(second, f"rx {framed(b'>9 ALIVE').hex()}")
    told = ask(board, "FIELD 250")

    assert "OK -G-E- 0 V" == told
    assert ["OK -G-E-"] * 4 == unframed(board.sent())[-5:-1]


@pytest.mark.parametrize(
    ("pin", "flags"), [(GUARD, "-----"), (STOP, "-GS--"), (CUT, "-G---")], ids=["guard", "stop", "cut"]
)
def test_interlock_drops_the_drive_at_once(board: SimulatedBoard, pin: int, flags: str) -> None:
    """Guard open, stop pressed or cut open: enable and route go within a millisecond, without any message."""
    drive(board)
    board.order(f"in {pin} 1")
    start_us = board.now_us
    board.run(0.02)

    assert board.changes(ENABLE)[-1] - start_us <= 1000
    assert [(ENABLE, 0), (FORWARD, 0)] == board.pins(ENABLE, FORWARD)[-2:]
    assert f"OK {flags} OPEN 20000 0" == ask(board, "STATE")


@pytest.mark.parametrize("pin", [GUARD, STOP, CUT])
def test_interlock_that_closes_again_does_not_bring_the_drive_back(board: SimulatedBoard, pin: int) -> None:
    """Only the next ALIVE does, though the last one is not 2 s old."""
    drive(board)
    board.order(f"in {pin} 1")
    board.run(0.02)
    board.order(f"in {pin} 0")
    board.run(0.02)

    assert "OK -G--- OPEN 20000 0" == ask(board, "STATE")
    assert "OK -G-E-" == ask(board, "ALIVE")


@pytest.mark.parametrize("pin", [GUARD, STOP, CUT])
def test_open_interlock_lets_no_drive_on(board: SimulatedBoard, pin: int) -> None:
    """ALIVE is answered, but the line stays low and the source routes are refused."""
    board.order(f"in {pin} 1")
    ask(board, "ALIVE")

    assert ask(board, "ROUTE FWD").endswith(" 3 not_allowed_now")
    assert [(ENABLE, 0)] == board.pins(ENABLE)


def test_guard_that_opens_between_break_and_make_stops_the_make(board: SimulatedBoard) -> None:
    """The route is not made though it was allowed when the command came."""
    ask(board, "ALIVE")
    board.after(0.005, f"in {GUARD} 1")

    assert "ERR ----- 3 not_allowed_now" == ask(board, "ROUTE FWD")
    assert [(FORWARD, 0)] == board.pins(FORWARD)


def test_guard_that_opens_just_after_the_make_is_told(board: SimulatedBoard) -> None:
    """The command ends in an error, with the route open again."""
    ask(board, "ALIVE")
    board.after(0.012, f"in {GUARD} 1")

    assert "ERR ----- 3 not_allowed_now" == ask(board, "ROUTE FWD")
    assert [(FORWARD, 0), (FORWARD, 1), (FORWARD, 0)] == board.pins(FORWARD)


def test_mistake_in_the_program_ends_safe(board: SimulatedBoard) -> None:
    """An error that nobody foresaw: drive off, routes open, then the watchdog is fed no more."""
    drive(board)
    board.order("break program")
    board.send(framed(b">1 FIELD 1"))

    assert board.ended
    assert (0, 0) == (board.level(ENABLE), board.level(FORWARD))


def test_hardware_that_does_not_answer_is_told(board: SimulatedBoard) -> None:
    """A converter's error drops the drive, is answered with error 4, and the fixture serves on."""
    drive(board)
    board.order("break port")

    assert "ERR -G--- 4 hardware" == ask(board, "FIELD 1")
    assert "OK -G--- OPEN 20000 0" == ask(board, "STATE")


def test_program_that_hangs_is_reset(board: SimulatedBoard) -> None:
    """The watchdog is fed once a turn and nowhere else: a turn of 3 s meets its bite."""
    drive(board)
    board.order("break hang")
    board.send(framed(b">1 FIELD 1"))

    assert ["reset"] == [event.word for event in board.events if event.word == "reset"]


def test_service_jumper_keeps_the_board_safe_and_silent(make_board: BoardMaker) -> None:
    """With the jumper set nothing is served and no watchdog disturbs the exchange of files."""
    board = make_board(inputs="22=0")

    assert board.ended
    assert {"pin"} == {event.word for event in board.events}
    assert ["service jumper: safe, nothing is served"] == board.other


def test_wrong_checksum_gets_no_reply(board: SimulatedBoard) -> None:
    """Not even a route that was understood is made."""
    board.send(b">1 ALIVE*0000\n>2 ROUTE LCR*FFFF\n")
    board.run(0.1)

    assert b"" == board.sent()
    assert [] == [change for change in board.pins(ENABLE, 3) if change[1]]


def test_line_without_an_end_is_thrown_away(board: SimulatedBoard) -> None:
    """Noise of any length fills no memory, and the next line is answered."""
    for _ in range(50):
        board.send(b"\xaa" * 400)
    board.send(b"\n")

    assert "OK -G--- OPEN 20000 0" == ask(board, "STATE")
