"""Thermometers, polled and streaming."""

import re
from dataclasses import replace

import pytest

from drivers.contracts.faults import replaced
from drivers.errors import LinkTimeout, ReplyError
from drivers.readings import Identity, Quantity, ReadingStatus
from drivers.thermometer import SerialThermometer
from tests.drivers.benches import POLLED, STREAMING, PolledBench, StreamingBench

IDENTITY = Identity("Meadow Instruments", "MODEL-1", "0042", "1.0")
BOTH = pytest.mark.parametrize("make", [PolledBench, StreamingBench])
AnyBench = type[PolledBench] | type[StreamingBench]


@BOTH
def test_measure_returns_coil_then_ambient(make: AnyBench) -> None:
    """Two temperatures in degC, coil first."""
    coil, ambient = make().driver.measure()

    assert (Quantity.TEMPERATURE_COIL, 23.5) == (coil.quantity, coil.value)
    assert (Quantity.TEMPERATURE_AMBIENT, 23.4) == (ambient.quantity, ambient.value)


@BOTH
def test_identity_is_found(make: AnyBench) -> None:
    """Asked for, or waited for."""

    assert IDENTITY == make().driver.identify()


@BOTH
def test_open_sensor_is_status_without_value(make: AnyBench) -> None:
    """A broken sensor is not cold; the other one still reads."""
    bench = make()
    bench.peer.coil_open = True
    coil, ambient = bench.driver.measure()

    assert (None, ReadingStatus.SENSOR_OPEN) == (coil.value, coil.status)
    assert 23.4 == ambient.value


@BOTH
def test_silence_is_a_timeout(make: AnyBench) -> None:
    """Nothing came."""
    bench = make()
    bench.link.silence()
    with pytest.raises(LinkTimeout):
        bench.driver.measure()


def test_polled_temperature_out_of_range_is_refused() -> None:
    """A garbled first digit makes a temperature that no bench has."""
    bench = PolledBench()
    bench.link.spoil(0, lambda time_s, data: replaced(b"+823.512,+023.407", time_s, data))
    with pytest.raises(ReplyError, match="-60 to 300 degC"):
        bench.driver.measure()


@pytest.mark.parametrize("body", [b"+23.512,+023.407", b"+023.512", b"nan,+023.407", b"+023.512,+023.407,"])
def test_polled_line_in_other_form_is_refused(body: bytes) -> None:
    """A lost digit or field shows by the fixed form."""
    bench = PolledBench()
    bench.link.spoil(0, lambda time_s, data: replaced(body, time_s, data))
    with pytest.raises(ReplyError):
        bench.driver.measure()


def test_streamed_lines_that_queued_up_are_thrown_away() -> None:
    """A minute of old lines is passed over for one that started after the call."""
    bench = StreamingBench()
    bench.driver.measure()
    bench.clock.sleep(60.0)
    bench.peer.truth = 3

    assert pytest.approx(23.5 * 1.039, abs=0.006) == bench.driver.measure()[0].value


def test_streamed_line_under_way_is_passed_over() -> None:
    """The line that had begun before the call is older than it."""
    bench = StreamingBench()
    bench.driver.measure()
    bench.peer.truth = 1
    bench.link.spoil(0, lambda time_s, data: [(time_s, data[:9]), (time_s + 0.04, data[9:])])
    bench.clock.sleep(0.22)
    bench.peer.truth = 3

    assert pytest.approx(23.5 * 1.039, abs=0.006) == bench.driver.measure()[0].value


def test_streamed_reading_in_a_row_takes_one_line_each() -> None:
    """Five readings a second are possible."""
    bench = StreamingBench()
    bench.driver.measure()
    start_s = bench.clock.monotonic()
    for _ in range(10):
        bench.driver.measure()

    assert pytest.approx(10 * STREAMING.period_s) == bench.clock.monotonic() - start_s


def test_streamed_count_that_stands_still_is_refused() -> None:
    """A frozen instrument keeps sending its last line."""
    bench = StreamingBench()
    bench.driver.measure()
    bench.peer.frozen = True
    with pytest.raises(ReplyError, match="frozen"):
        bench.driver.measure()


def test_streamed_count_frozen_from_the_start_is_refused() -> None:
    """The first reading already looks at two lines."""
    bench = StreamingBench()
    bench.peer.frozen = True
    with pytest.raises(ReplyError, match="frozen"):
        bench.driver.measure()


def test_streamed_count_may_wrap_and_skip_the_identity() -> None:
    """A hundred readings go through the wrap of the count and four identities."""
    bench = StreamingBench()
    for truth in range(100):
        bench.peer.truth = truth
        coil, _ = bench.driver.measure()

        assert pytest.approx(23.5 * (1 + 0.013 * truth), abs=0.006) == coil.value


def test_streamed_lines_that_stay_late_are_refused() -> None:
    """An instrument much slower than its dialect says is told, not waited for forever."""
    bench = StreamingBench()
    bench.driver.measure()
    driver = SerialThermometer(bench.link, bench.clock, replace(STREAMING, period_s=0.01, late_s=0.01))
    driver.identify()
    with pytest.raises(ReplyError, match="is the period right"):
        driver.measure()


def test_number_that_a_loose_dialect_lets_through_is_refused() -> None:
    """The form may be loose; a number is a number all the same."""
    bench = PolledBench()
    loose = replace(POLLED, line=re.compile(rb"(?P<coil>\S+),(?P<ambient>\S+)"))
    driver = SerialThermometer(bench.link, bench.clock, loose)
    bench.link.spoil(0, lambda time_s, data: replaced(b"nan,+023.407", time_s, data))
    with pytest.raises(ReplyError, match="NR1, NR2 or NR3"):
        driver.measure()


@BOTH
def test_capability_is_two_temperatures(make: AnyBench) -> None:
    """What a thermometer measures, and no more."""
    driver = make().driver

    assert driver.can(Quantity.TEMPERATURE_COIL)
    assert driver.can(Quantity.TEMPERATURE_AMBIENT)
    assert not driver.can(Quantity.FLUX_DENSITY)


def summed(body: bytes) -> bytes:
    """Return a streamed line with its sum."""
    return b"%s K=%02X\r\n" % (body, sum(body) % 256)


def test_identity_in_other_form_is_refused() -> None:
    """Four fields with a maker and a model."""
    bench = PolledBench()
    bench.link.spoil(0, lambda time_s, data: replaced(b" , ,0042,1.0", time_s, data))
    with pytest.raises(ReplyError, match="maker,model"):
        bench.driver.identify()


def test_streamed_line_of_another_kind_is_refused() -> None:
    """A right sum does not make a right line."""
    bench = StreamingBench()
    bench.driver.measure()
    bench.link.spoil(0, lambda time_s, data: [(time_s, summed(b"N=1 C=23.5"))])
    with pytest.raises(ReplyError, match="temperatures were expected"):
        bench.driver.measure()


def test_streamed_identities_only_are_refused() -> None:
    """Two in a row never come from an instrument in order."""
    bench = StreamingBench()
    bench.driver.measure()
    identity = summed(b"ID=" + bench.peer.identity.encode())
    bench.link.spoil(0, lambda time_s, data: [(time_s, identity * 2)])
    with pytest.raises(ReplyError, match="identities only"):
        bench.driver.measure()


def test_streaming_instrument_without_identity_is_given_up_on() -> None:
    """The wait for an identity ends after as many lines as there are between two."""
    bench = StreamingBench()
    bench.peer.identity_every = 1000
    with pytest.raises(ReplyError, match="no identity within 26 lines"):
        bench.driver.identify()


def test_dialect_without_checksum_is_read_without() -> None:
    """A make that sends no sum still has its form and its count."""
    bench = StreamingBench()
    driver = SerialThermometer(bench.link, bench.clock, replace(STREAMING, checksum_mark=b""))

    assert 23.5 == driver.measure()[0].value
