"""Every driver that ships passes the shipped suite."""

from collections.abc import Sequence
from dataclasses import replace
from typing import TypeVar

import pytest

from drivers.clock import Clock
from drivers.contracts.drivers import DriverCase, check_driver
from drivers.dialects import LcrDialect
from drivers.fixture import LineFixture
from drivers.group import Group
from drivers.instruments import LcrSetup, Route, SourceSetup
from drivers.lcr import ScpiLcrMeter
from drivers.link import Link
from drivers.readings import Quantity, Reading
from drivers.source import ScpiSource
from drivers.thermometer import SerialThermometer
from tests.drivers.benches import FIXTURE, LCR_FIRST, LCR_LAST, POLLED, SOURCE, STREAMING
from tests.drivers.peers import (
    FixturePeer,
    LcrStatusFirstPeer,
    LcrStatusLastPeer,
    PolledThermometerPeer,
    SourcePeer,
    StreamingThermometerPeer,
    rising,
)

T = TypeVar("T")
SERIES = LcrSetup(
    (Quantity.SERIES_INDUCTANCE, Quantity.SERIES_RESISTANCE), frequency_hz=1e5, averaging=2, range_ohm=10.0
)
DIRECT = LcrSetup((Quantity.DC_RESISTANCE,), frequency_hz=0.0, range_ohm=10.0)
DRIVE = SourceSetup(voltage_v=2.0, current_a=0.5, over_voltage_v=5.0, over_current_a=1.0)


GROUP = 3


def flat(groups: Sequence[Sequence[Reading]]) -> list[Reading]:
    """Return the readings of all measurements in a row."""
    return [reading for readings in groups for reading in readings]


def take_group(group: Group[T]) -> tuple[T, ...]:
    """Take `GROUP` readings, proved together."""
    for _ in range(GROUP):
        group.take()
    return group.hand_out()


def lcr_case(dialect: LcrDialect, setup: LcrSetup, bases: Sequence[float]) -> DriverCase[ScpiLcrMeter]:
    """Return the case of one meter with one setup."""

    def make(link: Link, clock: Clock, identity: str) -> ScpiLcrMeter:
        return ScpiLcrMeter(link, clock, dialect, expected_identity=identity)

    return DriverCase(
        make=make,
        prepare=lambda driver: driver.configure(setup),
        measure=lambda driver: driver.measure(),
        peer=LcrStatusFirstPeer if dialect is LCR_FIRST else LcrStatusLastPeer,
        expected=lambda truth: [rising(base, truth) for base in bases],
        terminator_out=b"\n",
    )


@pytest.mark.parametrize("dialect", [LCR_LAST, LCR_FIRST], ids=lambda dialect: dialect.name)
def test_lcr_meter_passes_suite_in_series_mode(dialect: LcrDialect) -> None:
    """An LCR meter never hands out a stale or malformed inductance."""
    check_driver(lcr_case(dialect, SERIES, (28e-6, 7.8)))


@pytest.mark.parametrize("dialect", [LCR_LAST, LCR_FIRST], ids=lambda dialect: dialect.name)
def test_lcr_meter_passes_suite_at_direct_current(dialect: LcrDialect) -> None:
    """An LCR meter never hands out a stale or malformed DC resistance."""
    check_driver(lcr_case(dialect, DIRECT, (7.7,)))


@pytest.mark.parametrize("dialect", [LCR_LAST, LCR_FIRST], ids=lambda dialect: dialect.name)
def test_lcr_meter_passes_suite_in_groups(dialect: LcrDialect) -> None:
    """One closing query proves each of a group: wherever responses shift, nothing is handed out."""
    case = lcr_case(dialect, SERIES, (28e-6, 7.8) * GROUP)
    check_driver(replace(case, measure=lambda driver: flat(take_group(driver.group()))))


def source_case() -> DriverCase[ScpiSource]:
    """Return the case of the source, driven."""

    def make(link: Link, clock: Clock, identity: str) -> ScpiSource:
        return ScpiSource(link, clock, SOURCE, expected_identity=identity)

    def prepare(driver: ScpiSource) -> None:
        driver.configure(DRIVE)
        driver.output_on()

    return DriverCase(
        make=make,
        prepare=prepare,
        measure=lambda driver: driver.measure(),
        peer=SourcePeer,
        expected=lambda truth: [rising(2.0, truth), rising(0.25, truth)],
        terminator_out=b"\n",
    )


def test_source_passes_suite() -> None:
    """A source never hands out a stale or malformed voltage or current."""
    check_driver(source_case())


def test_source_passes_suite_in_groups() -> None:
    """One closing query proves each current of a group."""
    check_driver(
        replace(
            source_case(),
            measure=lambda driver: take_group(driver.current_group()),
            expected=lambda truth: [rising(0.25, truth)] * GROUP,
        )
    )


def fixture_readings(driver: LineFixture) -> Sequence[Reading]:
    """Take one of each reading, contacts first."""
    driver.set_route(Route.KELVIN_CHECK)
    contacts = driver.check_contacts()
    driver.set_route(Route.SOURCE_FORWARD)
    return [*contacts, driver.measure_field(mains_cycles=2)]


def fixture_case() -> DriverCase[LineFixture]:
    """Return the case of the fixture."""

    def make(link: Link, clock: Clock, identity: str) -> LineFixture:
        return LineFixture(link, clock, FIXTURE, expected_identity=identity)

    return DriverCase(
        make=make,
        prepare=lambda driver: None,
        measure=fixture_readings,
        peer=FixturePeer,
        expected=lambda truth: [1.5e-3, 1.7e-3, rising(3e-3, truth)],
        terminator_out=b"\n",
        checksum=True,
    )


def test_fixture_passes_suite() -> None:
    """A fixture never hands out a stale or malformed field or contact."""
    check_driver(fixture_case())


def test_fixture_passes_suite_in_groups() -> None:
    """One state proves the route for each field of a group."""

    def measure(driver: LineFixture) -> Sequence[Reading]:
        driver.set_route(Route.SOURCE_FORWARD)
        return take_group(driver.field_group(mains_cycles=2))

    check_driver(
        replace(fixture_case(), measure=measure, expected=lambda truth: [rising(3e-3, truth)] * GROUP)
    )


def polled_case() -> DriverCase[SerialThermometer]:
    """Return the case of the polled thermometer."""

    def make(link: Link, clock: Clock, identity: str) -> SerialThermometer:
        return SerialThermometer(link, clock, POLLED, expected_identity=identity)

    return DriverCase(
        make=make,
        prepare=lambda driver: None,
        measure=lambda driver: driver.measure(),
        peer=PolledThermometerPeer,
        expected=lambda truth: [rising(23.5, truth), rising(23.4, truth)],
        terminator_out=b"\r",
        relative=1e-4,
    )


def test_polled_thermometer_passes_suite() -> None:
    """A polled thermometer never hands out a stale or malformed temperature."""
    check_driver(polled_case())


def test_polled_thermometer_passes_suite_in_groups() -> None:
    """One identity proves each temperature of a group."""
    check_driver(
        replace(
            polled_case(),
            measure=lambda driver: flat(take_group(driver.group())),
            expected=lambda truth: [rising(23.5, truth), rising(23.4, truth)] * GROUP,
        )
    )


def test_streaming_thermometer_passes_suite() -> None:
    """A streaming thermometer never hands out a stale or malformed temperature."""

    def make(link: Link, clock: Clock, identity: str) -> SerialThermometer:
        return SerialThermometer(link, clock, STREAMING, expected_identity=identity)

    check_driver(
        DriverCase(
            make=make,
            prepare=lambda driver: None,
            measure=lambda driver: driver.measure(),
            peer=StreamingThermometerPeer,
            expected=lambda truth: [rising(23.5, truth), rising(23.4, truth)],
            terminator_out=b"\r\n",
            relative=2e-4,
            oldest_s=STREAMING.late_s,
            checksum=True,
        )
    )
