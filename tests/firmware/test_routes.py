"""Route relays: break before make, mirror contacts, and what a live source forbids."""

from itertools import permutations

import pytest

from tests.firmware.boards import SimulatedBoard
from tests.firmware.conftest import BoardMaker
from tests.firmware.lines import ask

ENABLE = 2
RELAYS = {"LCR": 3, "FWD": 4, "REV": 5, "KELVIN": 6}
ALL_OPEN, SOURCE_LIVE = 11, 12
BREAK_US = 10_000


@pytest.mark.parametrize(("first", "then"), list(permutations(RELAYS, 2)))
def test_route_breaks_before_it_makes(board: SimulatedBoard, first: str, then: str) -> None:
    """The old relay is told to open 10 ms before the new one is told to close."""
    ask(board, "ALIVE")
    ask(board, f"ROUTE {first}")
    assert f"OK -G-E- {then}" == ask(board, f"ROUTE {then}")

    old, new = RELAYS[first], RELAYS[then]
    assert [(old, 1), (old, 0), (new, 1)] == [each for each in board.pins(*RELAYS.values()) if each[0]][4:]
    assert BREAK_US <= board.changes(new)[-1] - board.changes(old)[-1]


def test_only_one_relay_is_ever_closed(board: SimulatedBoard) -> None:
    """However routes follow each other."""
    ask(board, "ALIVE")
    for route in ("LCR", "FWD", "FWD", "KELVIN", "REV", "OPEN", "LCR", "LCR", "OPEN", "OPEN"):
        ask(board, f"ROUTE {route}")
    closed: set[int] = set()
    most = 0
    for pin, level in board.pins(*RELAYS.values()):
        closed = closed | {pin} if level else closed - {pin}
        most = max(most, len(closed))

    assert 1 == most


@pytest.mark.parametrize("welded", RELAYS)
def test_welded_relay_is_seen_before_the_next_one_closes(board: SimulatedBoard, welded: str) -> None:
    """Error 4; no other relay closes, the drive goes off and stays off until the weld is gone."""
    ask(board, "ALIVE")
    ask(board, f"ROUTE {welded}")
    board.order(f"stick {RELAYS[welded]} 1")
    other = "LCR" if welded != "LCR" else "FWD"

    assert ask(board, f"ROUTE {other}").endswith(" 4 hardware")
    assert [(RELAYS[other], 0)] == board.pins(RELAYS[other])
    assert "ERR -G--- 4 hardware" == ask(board, "ALIVE")
    assert 0 == board.level(ENABLE)

    board.order(f"free {RELAYS[welded]}")
    assert "OK -G--- OPEN" == ask(board, "ROUTE OPEN")
    assert "OK -G-E-" == ask(board, "ALIVE")


def test_relay_that_does_not_close_is_told(board: SimulatedBoard) -> None:
    """A route that was not made is never reported as made."""
    board.order(f"stick {RELAYS['LCR']} 0")

    assert "ERR -G--- 4 hardware" == ask(board, "ROUTE LCR")
    assert "OK -G--- OPEN 20000 0" == ask(board, "STATE")


def test_relay_welded_at_power_on_lets_no_drive_on(make_board: BoardMaker) -> None:
    """The mirror contacts are looked at before the first command."""
    board = make_board(inputs=f"{ALL_OPEN}=1")

    assert "ERR -G--- 4 hardware" == ask(board, "ALIVE")
    assert 0 == board.level(ENABLE)


@pytest.mark.parametrize("route", ["LCR", "KELVIN"])
def test_live_source_is_not_connected_to_a_measuring_input(board: SimulatedBoard, route: str) -> None:
    """A driven LCR meter is a destroyed one: the fixture feels the voltage itself."""
    board.order(f"in {SOURCE_LIVE} 1")

    assert "ERR -G--- 3 not_allowed_now" == ask(board, f"ROUTE {route}")
    assert [(RELAYS[route], 0)] == board.pins(RELAYS[route])


@pytest.mark.parametrize("route", ["LCR", "KELVIN"])
def test_source_that_comes_alive_between_break_and_make_stops_the_make(board: SimulatedBoard, route: str) -> None:
    """The voltage is looked at again just before the relay closes."""
    board.after(0.005, f"in {SOURCE_LIVE} 1")

    assert "ERR -G--- 3 not_allowed_now" == ask(board, f"ROUTE {route}")
    assert [(RELAYS[route], 0)] == board.pins(RELAYS[route])
