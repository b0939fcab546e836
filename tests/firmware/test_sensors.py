"""Field, contact and temperature: whole numbers from converter counts by the calibration constants."""

import pytest

from tests.firmware.boards import SimulatedBoard
from tests.firmware.conftest import BoardMaker
from tests.firmware.lines import ask

ADC_FIELD = 26
START, END, COIL, AMBIENT, JUNCTION = range(5)


@pytest.mark.parametrize(
    ("count", "told"),
    [
        (32768, "0 V"),
        (32769, "1600 V"),
        (32767, "-1600 V"),
        (34643, "3000000 V"),
        (64018, "50000000 V"),  # 31,250 counts of 1.6 uT are 50 mT, the end of the range
        (64019, "0 O"),
        (1518, "-50000000 V"),
        (1517, "0 O"),
    ],
)
def test_field_is_told_in_nanotesla(board: SimulatedBoard, count: int, told: str) -> None:
    """(count - 32768) x 1.6 uT; beyond 50 mT it is an overload without a number."""
    board.order(f"adc {ADC_FIELD} {count}")

    assert f"OK -G--- {told}" == ask(board, "FIELD 3")


@pytest.mark.parametrize("count", [0, 63, 65472, 65535])
def test_field_at_the_converters_end_is_an_overload(make_board: BoardMaker, count: int) -> None:
    """Even where the constants would make a small field of it."""
    board = make_board(constants={"field_pt_per_count": 100})
    board.order(f"adc {ADC_FIELD} {count}")

    assert "OK -G--- 0 O" == ask(board, "FIELD 1")


def test_one_sample_at_the_end_spoils_the_average(board: SimulatedBoard) -> None:
    """An average over a clipped hum would be a good-looking wrong number."""
    board.after(0.0101, f"adc {ADC_FIELD} 65535")
    board.after(0.0111, f"adc {ADC_FIELD} 32768")

    assert "OK -G--- 0 O" == ask(board, "FIELD 1")


def test_field_is_averaged_over_whole_cycles(board: SimulatedBoard) -> None:
    """20 samples a cycle at even distances: ten of one count and ten of another give the mean."""
    board.after(0.0101, f"adc {ADC_FIELD} 32868")
    start_us = board.now_us

    assert "OK -G--- 80000 V" == ask(board, "FIELD 1")
    assert 20_000 <= board.now_us - start_us <= 21_000


def test_mains_of_60_hz_are_averaged_in_their_own_cycle(make_board: BoardMaker) -> None:
    """The cycle is a constant of the calibration file."""
    board = make_board(constants={"mains_cycle_us": 16_667})
    start_us = board.now_us
    ask(board, "FIELD 6")

    assert 99_000 <= board.now_us - start_us <= 101_000


@pytest.mark.parametrize(
    ("start", "end", "told"),
    [(30, 34, "1500 1700"), (0, 1, "0 50"), (59_999, 60_000, "2999950 -"), (65_535, 65_535, "- -")],
)
def test_contact_is_told_in_microohm(board: SimulatedBoard, start: int, end: int, told: str) -> None:
    """50 uohm a count; from 60,000 counts on it is open."""
    board.order(f"mux {START} {start}")
    board.order(f"mux {END} {end}")
    ask(board, "ROUTE KELVIN")

    assert f"OK -G--- {told}" == ask(board, "CONTACT")


def test_temperature_is_told_in_millidegrees(board: SimulatedBoard) -> None:
    """(count - 9930) x 5.036 m(degC): 14,497 counts are 23.000 degC, 9,434 are -2.498 degC."""
    board.order(f"mux {COIL} 14497")
    board.order(f"mux {AMBIENT} 9434")

    assert "OK -G--- C 22999 -2498" == ask(board, "TEMP")


def test_thermocouples_are_told_in_nanovolts(make_board: BoardMaker) -> None:
    """With the reference junction's temperature beside, so that the station can apply the reference function."""
    constants = {
        "thermometer_unit": "V",
        **{f"{name}_zero_count": 1000 for name in ("coil", "ambient")},
        **{f"{name}_milli_per_count": 800_000 for name in ("coil", "ambient")},
    }
    board = make_board(constants=constants)
    board.order(f"mux {COIL} 6120")
    board.order(f"mux {AMBIENT} 990")
    board.order(f"mux {JUNCTION} 14894")

    assert "OK -G--- V 4096000 -8000 24999" == ask(board, "TEMP")


@pytest.mark.parametrize("count", [0, 63, 64_000, 65_535])
def test_broken_thermometer_is_not_a_cold_one(board: SimulatedBoard, count: int) -> None:
    """Open or shorted: no number."""
    board.order(f"mux {COIL} {count}")
    board.order(f"mux {AMBIENT} 14497")

    assert "OK -G--- C - 22999" == ask(board, "TEMP")
