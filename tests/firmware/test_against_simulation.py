"""The reference firmware and the simulated fixture answer the same bytes alike."""

from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.instruments.fixture import Fixture
from sim.world import World
from tests.firmware.boards import SimulatedBoard
from tests.firmware.conftest import BoardMaker
from tests.firmware.lines import framed

SERIAL = "FIX1001"
SHORT_S = 0.1
MOVE_S = 2.5
"""The driver's patience with a move: the longest takes 1.95 s."""


class Both:
    """One script of bytes for both fixtures, each in simulated time of its own."""

    def __init__(self, board: SimulatedBoard) -> None:
        self._board = board
        self._fixture = Fixture("fixture-1", World(), f"INVENTED FIX-1 {SERIAL} 1.0")
        self._fixture.connect(0.0)
        self._start_us = board.now_us
        self._now_s = 0.0

    def answers(self, data: bytes, wait_s: float) -> tuple[bytes, bytes]:
        """Send bytes to both and wait; return what the simulated one and the firmware have answered."""
        came = len(self._board.sent())
        self._fixture.receive(data, self._now_s)
        self._board.send(data)
        self._now_s += wait_s
        self._board.run_to(self._start_us + round(self._now_s * 1e6))
        simulated = b"".join(emission.data for emission in self._fixture.advance(self._now_s))
        return simulated, self._board.sent()[came:]


SCRIPT = (
    b">0 ID",
    b">1 STATE",
    b">255 STATE",
    b">256 STATE",
    b">007 STATE",
    b"> STATE",
    b">-1 STATE",
    b"STATE",
    b"<1 STATE",
    b">1",
    b">1 ",
    b">1 STATE 5",
    b">1 state",
    b">1 NONSENSE",
    b">1 STATE*0000",
    b">1 \xb5\xff",
    b">\xb2 STATE",
    b">2 ROUTE",
    b">2 ROUTE NOWHERE",
    b">2 ROUTE lcr",
    b">2 ROUTE FWD",
    b">2 ROUTE REV",
    b">2 ROUTE LCR",
    b">2 STATE",
    b">2 ROUTE OPEN",
    b">3 CONTACT",
    b">3 ROUTE KELVIN",
    b">3 CONTACT",
    b">3 ROUTE KELVIN",
    b">4 FIELD",
    b">4 FIELD 0",
    b">4 FIELD 1001",
    b">4 FIELD 1.5",
    b">4 FIELD -1",
    b">4 FIELD +1",
    b">4 FIELD 1",
    b">4 FIELD 002",
    b">5 HEIGHT",
    b">5 HEIGHT 499",
    b">5 HEIGHT 20001",
    b">5 HEIGHT 1e3",
    b">5 HEIGHT 500",
    b">5 STATE",
    b">5 HEIGHT 8000",
    b">5 RETRACT",
    b">5 STATE",
    b">6 ALIVE",
    b">6 ROUTE FWD",
    b">6 STATE",
    b">6 ROUTE REV",
    b">6 ALIVE",
    b">6 ROUTE LCR",
    b">6 ROUTE FWD",
    b">6 FIELD 1",
)


def test_script_is_answered_alike(make_board: BoardMaker) -> None:
    """Sound, unsound and unknown messages, moves and routes: byte by byte the same."""
    both = Both(make_board(constants={"serial": SERIAL}))
    told = [both.answers(framed(line), MOVE_S if b"HEIGHT" in line or b"RETR" in line else SHORT_S) for line in SCRIPT]

    assert [simulated for simulated, _ in told] == [firmware for _, firmware in told]
    assert b"<6 OK -G-E- 0 V*" == told[-1][1][:-5]


def test_dead_man_is_told_alike(make_board: BoardMaker) -> None:
    """After 2 s without ALIVE both have opened the route and say so; the next ALIVE takes the flag away."""
    both = Both(make_board(constants={"serial": SERIAL}))
    told = [
        both.answers(framed(b">1 ALIVE"), SHORT_S),
        both.answers(framed(b">2 ROUTE FWD"), 1.85),
        both.answers(framed(b">3 STATE"), SHORT_S),
        both.answers(framed(b">4 STATE"), SHORT_S),
        both.answers(framed(b">5 ALIVE"), SHORT_S),
    ]

    assert [simulated for simulated, _ in told] == [firmware for _, firmware in told]
    assert b"<3 OK -G-E- FWD 20000 0" == told[2][1][:-6]
    assert b"<4 OK -G--R OPEN 20000 0" == told[3][1][:-6]


@pytest.mark.parametrize(
    "data",
    [
        b">1 STATE*0000\n",
        framed(b">1 STATE").replace(b"*", b"**"),
        framed(b">1 ID").lower(),
        framed(b">1 STATE")[:-1] + b"\r\n",
        framed(b">1 STATE")[:-1] + b"\r\r\n",
        framed(b">1 STATE")[:-2] + b"\n",
        b"\n\n" + framed(b">1 STATE"),
        b"noise" + framed(b">1 STATE") + framed(b">2 STATE"),
        framed(b">1 ID") + framed(b">2 STATE") + framed(b">3 ALIVE"),
    ],
)
def test_framing_is_read_alike(board: SimulatedBoard, data: bytes) -> None:
    """Wrong checksums, line ends, empty lines, several lines in one go."""
    both = Both(board)
    simulated, firmware = both.answers(data, SHORT_S)

    assert simulated.replace(SERIAL.encode(), b"")[-8:] == firmware.replace(b"FIX0001", b"")[-8:]
    assert simulated.count(b"\n") == firmware.count(b"\n")


words = st.sampled_from(["ID", "STATE", "ROUTE", "FIELD", "CONTACT", "HEIGHT", "id", "", "X", "ID ", "*", "é"])
arguments = st.sampled_from(["", "OPEN", "LCR", "KELVIN", "FWD", "0", "1", "5x", " 1", "499", "1_0", "٣", "²"])
numbers = st.one_of(st.integers(0, 300).map(str), st.sampled_from(["", "1x", "-0", "1_0", "٣", "+5", " 7"]))
bodies = st.one_of(
    st.tuples(numbers, words, arguments).map(lambda parts: f">{parts[0]} {parts[1]} {parts[2]}".encode()),
    st.binary(max_size=30).map(lambda data: data.replace(b"\n", b"")),
)


@pytest.fixture(scope="module")
def shared_board(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SimulatedBoard]:
    """One board for all examples, power cycled before each."""
    with SimulatedBoard(tmp_path_factory.mktemp("board"), constants={"serial": SERIAL}) as made:
        yield made


@pytest.mark.slow
@settings(max_examples=100)
@given(lines=st.lists(bodies, max_size=12), damaged=st.integers(0, 400))
def test_any_lines_are_answered_alike(shared_board: SimulatedBoard, lines: list[bytes], damaged: int) -> None:
    """Whatever comes, one bit of it turned or none, both give the same responses or none."""
    shared_board.cycle_power()
    both = Both(shared_board)
    data = bytearray(b"".join(framed(line) for line in lines))
    if damaged < len(data) and data[damaged] not in (0x0A, 0x0B):  # the turned bit makes no line end of it
        data[damaged] ^= 1
    answers = [both.answers(bytes(line), SHORT_S) for line in data.splitlines(keepends=True)]

    assert [simulated for simulated, _ in answers] == [firmware for _, firmware in answers]
