"""Thermocouples against the published tables: G. W. Burns et al., NIST Monograph 175; NIST SRD 60 (three decimals)."""

import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.contracts.faults import replaced
from drivers.dialects import DialectError, ThermometerDialect, read_dialect
from drivers.errors import ReplyError
from drivers.readings import ReadingStatus
from drivers.thermocouple import TYPES, temperature_degc, voltage_v
from drivers.thermometer import SerialThermometer
from station.data import data_path
from tests.drivers.benches import POLLED, PolledBench

HALF_A_DIGIT_MV = 0.0005
TABLES: dict[str, tuple[tuple[float, float], ...]] = {
    "K": (
        (-50, -1.889), (-25, -0.968), (0, 0.000), (10, 0.397), (20, 0.798), (23, 0.919), (25, 1.000), (37,
        1.489), (50, 2.023), (60, 2.436), (75, 3.059), (85, 3.474), (100, 4.096), (125, 5.124), (150,
        6.138), (200, 8.138),
    ),
    "T": (
        (-50, -1.819), (-25, -0.940), (0, 0.000), (10, 0.391), (20, 0.790), (23, 0.911), (25, 0.992), (37,
        1.486), (50, 2.036), (60, 2.468), (75, 3.132), (85, 3.585), (100, 4.279), (125, 5.470), (150,
        6.704), (200, 9.288),
    ),
    "J": (
        (0, 0.000), (25, 1.277), (50, 2.585), (100, 5.269), (200, 10.779),
    ),
}
POINTS = [(kind, degc, mv) for kind, points in TABLES.items() for degc, mv in points]

MILLIVOLTS = replace(
    POLLED,
    line=re.compile(rb"(?P<coil>\S+) mV,(?P<cold_junction>\S+),(?P<ambient>\S+)"),
    thermocouple="K",
)


@pytest.mark.parametrize(("kind", "degc", "mv"), POINTS)
def test_voltage_agrees_with_the_table(kind: str, degc: float, mv: float) -> None:
    """Within half of the table's last digit."""

    assert mv == pytest.approx(1e3 * voltage_v(kind, degc), abs=1.0001 * HALF_A_DIGIT_MV)


@pytest.mark.parametrize(
    ("kind", "measured_mv", "cold_degc", "expected_degc"),
    [("K", 4.096, 25.0, 124.3099), ("T", 1.5, 23.0, 58.6844), ("K", 0.0, 21.5, 21.5)],
)
def test_cold_junction_adds_voltages(
    kind: str, measured_mv: float, cold_degc: float, expected_degc: float
) -> None:
    """Worked examples of a public ITS-90 library's pages (the second and third recomputed with it)."""

    assert expected_degc == pytest.approx(temperature_degc(kind, 1e-3 * measured_mv, cold_degc), abs=0.005)


@pytest.mark.parametrize(
    ("kind", "mv", "degc"), [("K", 12.209, 300.0), ("T", 4.279, 100.0), ("J", 5.269, 100.0)]
)
def test_inverse_agrees_with_the_table(kind: str, mv: float, degc: float) -> None:
    """Half a printed digit is 0.012 K for type K."""

    assert degc == pytest.approx(temperature_degc(kind, 1e-3 * mv, 0.0), abs=0.015)


@pytest.mark.parametrize(("kind", "uv_per_k"), [("K", 40.5177), ("T", 40.6823), ("J", 51.7523)])
def test_seebeck_coefficient_at_25_degc(kind: str, uv_per_k: float) -> None:
    """The slope of the reference function, in uV/K; recomputed with a public library."""
    slope = (voltage_v(kind, 25.01) - voltage_v(kind, 24.99)) / 0.02

    assert uv_per_k == pytest.approx(1e6 * slope, abs=1e-3)


@given(st.sampled_from(TYPES), st.floats(-150.0, 390.0), st.floats(0.0, 50.0))
def test_temperature_inverts_voltage(kind: str, hot_degc: float, cold_degc: float) -> None:
    """temperature(voltage(t) - voltage(cold), cold) is t, within what floats leave."""
    measured_v = voltage_v(kind, hot_degc) - voltage_v(kind, cold_degc)

    assert hot_degc == pytest.approx(temperature_degc(kind, measured_v, cold_degc), abs=1e-4)


def test_voltage_of_no_thermocouple_is_refused() -> None:
    """A volt is no thermocouple."""
    with pytest.raises(ValueError, match="no voltage of a thermocouple of type K"):
        temperature_degc("K", 1.0, 23.0)


def test_unknown_type_is_refused() -> None:
    """The message names the known ones."""
    with pytest.raises(ValueError, match="must be one of K, T, J; got 'X'"):
        voltage_v("X", 23.0)


@pytest.mark.parametrize("degc", [-300.0, 2000.0, float("nan")])
def test_temperature_outside_the_function_is_refused(degc: float) -> None:
    """Nothing is extrapolated."""
    with pytest.raises(ValueError, match="outside -200 to 1372 degC"):
        voltage_v("K", degc)


def test_thermometer_that_sends_millivolts_reads_degrees() -> None:
    """4.096 mV with its cold junction at 25 degC is 124.31 degC; the ambient is sent in degC."""
    bench = PolledBench()
    bench.link.spoil(0, lambda time_s, data: replaced(b"+4.096 mV,+25.0,+23.4", time_s, data))
    coil, ambient = SerialThermometer(bench.link, bench.clock, MILLIVOLTS).measure()

    assert 124.31 == pytest.approx(coil.value, abs=0.005)
    assert 23.4 == ambient.value


@pytest.mark.parametrize("line", [b"OPEN mV,+25.0,+23.4", b"+4.096 mV,OPEN,+23.4"])
def test_open_thermocouple_or_cold_junction_has_no_value(line: bytes) -> None:
    """A missing one is a status, not a cold reading."""
    bench = PolledBench()
    bench.link.spoil(0, lambda time_s, data: replaced(line, time_s, data))
    coil, _ = SerialThermometer(bench.link, bench.clock, MILLIVOLTS).measure()

    assert (None, ReadingStatus.SENSOR_OPEN) == (coil.value, coil.status)


def test_millivolts_out_of_range_are_a_damaged_reply() -> None:
    """400 mV is none of its voltages."""
    bench = PolledBench()
    bench.link.spoil(0, lambda time_s, data: replaced(b"+400.0 mV,+25.0,+23.4", time_s, data))
    with pytest.raises(ReplyError, match="no voltage of a thermocouple"):
        SerialThermometer(bench.link, bench.clock, MILLIVOLTS).measure()


def test_dialect_names_the_thermocouple() -> None:
    """A dialect with a thermocouple needs a group for its cold junction."""
    text = data_path("dialects/thermometer-polled.toml").read_text(encoding="utf-8")
    with_type = text.replace("[response]", '[response]\nthermocouple = "T"')
    complete = with_type.replace("(?P<coil>", "(?P<cold_junction>[+-]\\d+),(?P<coil>")
    dialect = read_dialect(complete, "mine.toml")

    assert isinstance(dialect, ThermometerDialect)
    assert "T" == dialect.thermocouple
    with pytest.raises(DialectError, match="cold_junction"):
        read_dialect(with_type, "mine.toml")
