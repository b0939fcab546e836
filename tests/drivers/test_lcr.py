"""LCR meters of both dialects."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from drivers.dialects import LcrDialect
from drivers.errors import InstrumentError, InstrumentReported, LinkTimeout, ReplyError
from drivers.instruments import LcrSetup
from drivers.lcr import parse_measurement
from drivers.readings import Quantity, ReadingStatus
from tests.drivers.benches import LCR_FIRST, LCR_LAST, LcrBench
from tests.drivers.peers import rising

SERIES = LcrSetup((Quantity.SERIES_INDUCTANCE, Quantity.SERIES_RESISTANCE), frequency_hz=1e5, range_ohm=10.0)
DIRECT = LcrSetup((Quantity.DC_RESISTANCE,), frequency_hz=0.0, range_ohm=10.0)
BOTH = pytest.mark.parametrize("dialect", [LCR_LAST, LCR_FIRST], ids=lambda dialect: dialect.name)


@BOTH
@pytest.mark.parametrize(
    ("quantities", "bases"),
    [
        ((Quantity.SERIES_INDUCTANCE, Quantity.SERIES_RESISTANCE), (28e-6, 7.8)),
        ((Quantity.SERIES_RESISTANCE, Quantity.SERIES_INDUCTANCE), (7.8, 28e-6)),
        ((Quantity.PARALLEL_RESISTANCE,), (7.8,)),
        ((Quantity.QUALITY_FACTOR, Quantity.SERIES_INDUCTANCE), (2.2, 28e-6)),
        ((Quantity.IMPEDANCE, Quantity.PHASE), (19.0, 1.1)),
    ],
)
def test_readings_come_in_order_of_setup(
    dialect: LcrDialect, quantities: tuple[Quantity, ...], bases: tuple[float, ...]
) -> None:
    """Whatever order the make responds in, the caller gets the order it asked for."""
    bench = LcrBench(dialect)
    bench.driver.configure(LcrSetup(quantities, frequency_hz=1e5, range_ohm=100.0))
    readings = bench.driver.measure()

    assert quantities == tuple(reading.quantity for reading in readings)
    assert [pytest.approx(rising(base, 0), rel=1e-5) for base in bases] == [
        reading.value for reading in readings
    ]


@BOTH
def test_reading_keeps_response_and_time(dialect: LcrDialect) -> None:
    """A reading carries the bytes that it came from, who gave it and when."""
    bench = LcrBench(dialect)
    bench.driver.configure(DIRECT)
    start_s = bench.clock.monotonic()
    (reading,) = bench.driver.measure()

    assert b"E" in reading.raw
    assert "lcr-1" == reading.instrument
    assert start_s < reading.monotonic_s <= bench.clock.monotonic()


@BOTH
def test_overload_is_status_without_value(dialect: LcrDialect) -> None:
    """Overload in the make's own convention is a status for both quantities."""
    bench = LcrBench(dialect)
    bench.peer.overload = True
    bench.driver.configure(SERIES)
    readings = bench.driver.measure()

    assert [(None, ReadingStatus.OVERLOAD)] * 2 == [(reading.value, reading.status) for reading in readings]


@BOTH
def test_first_measurement_after_range_change_only_is_dropped(dialect: LcrDialect) -> None:
    """The first one after a change is taken and dropped; the same range again costs nothing."""
    bench = LcrBench(dialect)
    taken = []
    for range_ohm in (10.0, 10.0, 100.0, None, 100.0):
        bench.peer.received.clear()
        bench.driver.configure(LcrSetup((Quantity.DC_RESISTANCE,), frequency_hz=0.0, range_ohm=range_ohm))
        bench.driver.measure()
        taken.append(bench.peer.received.count(dialect.query))

    assert [2, 1, 2, 1, 2] == taken


@BOTH
def test_setup_in_force_is_not_sent_again(dialect: LcrDialect) -> None:
    """Two methods of a run that measure the same way share one configuration."""
    bench = LcrBench(dialect)
    bench.driver.configure(DIRECT)
    bench.driver.measure()
    bench.peer.received.clear()
    bench.driver.configure(DIRECT)

    assert [] == bench.peer.received


def fail_to_measure(bench: LcrBench) -> None:
    """A reading that times out."""
    bench.link.spoil(0, lambda time_s, data: [])
    with pytest.raises(LinkTimeout):
        bench.driver.measure()


def fail_to_prove(bench: LcrBench) -> None:
    """A closing query that is not answered."""
    group = bench.driver.group()
    group.take()
    bench.link.spoil(0, lambda time_s, data: [])
    with pytest.raises(LinkTimeout):
        group.hand_out()


def report_at_the_end(bench: LcrBench) -> None:
    """An error that the closing query tells."""
    bench.peer.errors = ['-113,"Undefined header"']
    with pytest.raises(InstrumentReported):
        bench.driver.measure()


@BOTH
@pytest.mark.parametrize(
    "spoil",
    [
        fail_to_measure,
        fail_to_prove,
        report_at_the_end,
        lambda bench: bench.driver.configure(replace(DIRECT, averaging=2)),
        lambda bench: bench.driver.correct_open(),
        lambda bench: bench.driver.identify(),
        lambda bench: bench.driver.forget_setup(),
    ],
)
def test_setup_is_sent_again_after_anything_that_may_have_changed_it(
    dialect: LcrDialect, spoil: Callable[[LcrBench], object]
) -> None:
    """A failure, another setup, a correction, a new run: every setting is sent anew."""
    bench = LcrBench(dialect)
    bench.driver.configure(DIRECT)
    bench.driver.measure()
    spoil(bench)
    bench.clock.sleep(1.0)
    bench.peer.received.clear()
    bench.driver.configure(DIRECT)

    assert dialect.range_.message.format("1.000000E+01") in bench.peer.received
    assert dialect.averaging.message.format(1) in bench.peer.received


@BOTH
def test_reading_after_range_change_is_dropped_from_a_group_too(dialect: LcrDialect) -> None:
    """The first of a group is as good as the others, and one closing query proves all."""
    bench = LcrBench(dialect)
    bench.driver.configure(DIRECT)
    bench.peer.received.clear()
    group = bench.driver.group()
    for _ in range(3):
        group.take()

    assert [pytest.approx(rising(7.7, 0), rel=1e-5)] * 3 == [each.value for (each,) in group.hand_out()]
    assert 4 == bench.peer.received.count(dialect.query)
    assert 1 == bench.peer.received.count("SYST:ERR?")


@BOTH
def test_autorange_is_off_with_a_range_and_on_without(dialect: LcrDialect) -> None:
    """Production states the range; only a setup without one leaves it to the meter."""
    bench = LcrBench(dialect)
    bench.driver.configure(SERIES)
    fixed = set(bench.peer.received)
    bench.peer.received.clear()
    bench.driver.configure(LcrSetup((Quantity.DC_RESISTANCE,), frequency_hz=0.0))

    assert dialect.range_auto_off in fixed
    assert dialect.range_auto_on in bench.peer.received


@BOTH
def test_setting_that_did_not_arrive_is_found_by_reading_back(dialect: LcrDialect) -> None:
    """A lost frequency is told; the meter then refuses to measure until it is configured."""
    bench = LcrBench(dialect)
    bench.peer.deaf_to = {dialect.frequency.message.format("1.000000E+05")}
    with pytest.raises(InstrumentError, match="set to 100000"):
        bench.driver.configure(SERIES)

    with pytest.raises(InstrumentError, match="before it was configured"):
        bench.driver.measure()


@BOTH
def test_setting_without_read_back_is_sent_twice(dialect: LcrDialect) -> None:
    """Range and averaging cannot be asked back, so one lost message must do no harm."""
    bench = LcrBench(dialect)
    bench.driver.configure(SERIES)

    assert 2 == bench.peer.received.count(dialect.range_.message.format("1.000000E+01"))
    assert 2 == bench.peer.received.count(dialect.averaging.message.format(1))


@BOTH
def test_refused_setting_is_told_from_error_queue(dialect: LcrDialect) -> None:
    """The queue is drained after a configuration."""
    bench = LcrBench(dialect)
    bench.driver.identify()
    bench.peer.errors = ['-222,"Data out of range"']
    with pytest.raises(InstrumentReported) as caught:
        bench.driver.configure(SERIES)

    assert -222 == caught.value.code


@BOTH
def test_long_averaging_is_waited_for(dialect: LcrDialect) -> None:
    """The time allowed for a measurement grows with its averaging."""
    bench = LcrBench(dialect)
    bench.driver.configure(
        LcrSetup((Quantity.DC_RESISTANCE,), frequency_hz=0.0, averaging=128, range_ohm=10.0)
    )
    start_s = bench.clock.monotonic()
    bench.driver.measure()

    assert bench.clock.monotonic() - start_s >= 2 * 128 * 0.02


@BOTH
def test_corrections_are_waited_for(dialect: LcrDialect) -> None:
    """A correction takes its time, and its errors are looked at."""
    bench = LcrBench(dialect)
    bench.driver.correct_open()
    bench.driver.correct_short()

    assert [dialect.correct_open, dialect.correct_short] == [
        message for message in bench.peer.received if message in (dialect.correct_open, dialect.correct_short)
    ]
    assert bench.clock.monotonic() >= 2 * dialect.correction_s


@BOTH
def test_capability_follows_from_dialect(dialect: LcrDialect) -> None:
    """A meter can what one of its functions gives."""
    driver = LcrBench(dialect).driver

    assert driver.can(Quantity.SERIES_INDUCTANCE)
    assert not driver.can(Quantity.FLUX_DENSITY)


@pytest.mark.parametrize(
    "setup",
    [
        LcrSetup((Quantity.DC_RESISTANCE,), frequency_hz=1e3),
        LcrSetup((Quantity.SERIES_INDUCTANCE,), frequency_hz=0.0),
        LcrSetup((Quantity.SERIES_INDUCTANCE, Quantity.PHASE), frequency_hz=1e3),
        LcrSetup((), frequency_hz=1e3),
        LcrSetup((Quantity.VOLTAGE,), frequency_hz=1e3),
    ],
)
def test_setup_that_no_function_gives_is_refused(setup: LcrSetup) -> None:
    """What the meter cannot do at once is an error in words, and nothing is sent."""
    bench = LcrBench(LCR_LAST)
    with pytest.raises(InstrumentError):
        bench.driver.configure(setup)

    assert [] == bench.peer.received


@pytest.mark.parametrize(
    "reply",
    [
        b"+2.87654E-05,+7.81234E+00",
        b"+2.87654E-05,+7.81234E+00,+0,",
        b"+2.87654E-05,+7.81234E+00,+4",
        b"+2.87654E-05,+7.81234E+00,+9",
        b"+2.87654E-05,+7.81234E+0,+0",
        b"+2.87654E-05,nan,+0",
        b"+2.8765E-05,+7.81234E+00,+0",
        b"+2.87654E-05;+7.81234E+00;+0",
        b"",
        b"+0",
    ],
)
def test_measurement_in_other_form_is_refused(reply: bytes) -> None:
    """Too few, too many, another form, an unknown status, nothing measured: never a number."""
    with pytest.raises(ReplyError):
        parse_measurement(LCR_LAST, LCR_LAST.functions[0], reply)


def test_place_holder_that_is_not_zero_is_refused() -> None:
    """An inductance and a resistance in place of a DC resistance show by the place holder."""
    direct = next(function for function in LCR_LAST.functions if Quantity.DC_RESISTANCE in function.fields)
    with pytest.raises(ReplyError, match="place holder"):
        parse_measurement(LCR_LAST, direct, b"+2.87654E-05,+7.81234E+00,+0")


def test_good_status_with_special_number_has_no_value() -> None:
    """If status and number disagree, trouble wins."""
    found = parse_measurement(LCR_LAST, LCR_LAST.functions[0], b"+9.90000E+37,+7.81234E+00,+0")

    assert (None, ReadingStatus.OVERLOAD) == found[Quantity.SERIES_INDUCTANCE]


def test_no_number_status_has_no_value() -> None:
    """The make's own word for no number wins over a number."""
    found = parse_measurement(LCR_FIRST, LCR_FIRST.functions[0], b"E;9.91E37;9.91E37")

    assert {(None, ReadingStatus.NOT_A_NUMBER)} == set(found.values())


def test_setting_that_this_make_can_read_back_is_compared() -> None:
    """Which settings are asked back is the dialect's to say."""
    averaging = replace(LCR_LAST.averaging, query="APER?")
    bench = LcrBench(replace(LCR_LAST, averaging=averaging))
    bench.peer.deaf_to = {"APER 7"}
    with pytest.raises(InstrumentError, match="set to 7"):
        bench.driver.configure(replace(DIRECT, averaging=7))


def test_correction_that_is_not_confirmed_is_refused() -> None:
    """Anything but 1 in response to `*OPC?` is no end of a correction."""
    bench = LcrBench(LCR_LAST)
    bench.link.spoil(0, lambda time_s, data: [(time_s, b"0\n")])
    with pytest.raises(ReplyError, match="1 was expected"):
        bench.driver.correct_open()
