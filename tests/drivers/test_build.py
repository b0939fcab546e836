"""From a kind and a dialect to a driver."""

import pytest

from drivers.build import KINDS, build_driver
from drivers.clock import ManualClock
from drivers.contracts.scripted import ScriptedLink
from drivers.dialects import Dialect
from drivers.fixture import LineFixture
from drivers.instruments import Fixture, LcrMeter, Source, Thermometer
from drivers.lcr import ScpiLcrMeter
from drivers.source import ScpiSource
from drivers.thermometer import SerialThermometer
from tests.drivers.benches import FIXTURE, LCR_FIRST, LCR_LAST, POLLED, SOURCE, STREAMING
from tests.drivers.peers import SourcePeer


def some_link(clock: ManualClock) -> ScriptedLink:
    """Return any link."""
    return ScriptedLink(SourcePeer(), clock, terminator_out=b"\n", name="any")


@pytest.mark.parametrize(
    ("dialect", "driver"),
    [
        (LCR_LAST, ScpiLcrMeter),
        (LCR_FIRST, ScpiLcrMeter),
        (SOURCE, ScpiSource),
        (FIXTURE, LineFixture),
        (POLLED, SerialThermometer),
        (STREAMING, SerialThermometer),
    ],
)
def test_driver_follows_from_dialect(dialect: Dialect, driver: type) -> None:
    """Each kind has its class, and the driver goes by the bench file's name."""
    clock = ManualClock()
    built = build_driver(dialect.kind, some_link(clock), clock, dialect, name="mine")

    assert dialect.kind in KINDS
    assert driver is type(built)
    assert "mine" == built.name


def test_dialect_of_another_kind_is_refused() -> None:
    """A bench file that gives a source a meter's dialect is told so."""
    clock = ManualClock()
    with pytest.raises(ValueError, match="'mine' must have a dialect for kind 'source'"):
        build_driver("source", some_link(clock), clock, LCR_LAST, name="mine")


def test_drivers_satisfy_the_protocols() -> None:
    """What methods are written against is what is built (checked by the type checker)."""
    clock = ManualClock()
    meter: LcrMeter = ScpiLcrMeter(some_link(clock), clock, LCR_LAST)
    source: Source = ScpiSource(some_link(clock), clock, SOURCE)
    fixture: Fixture = LineFixture(some_link(clock), clock, FIXTURE)
    thermometer: Thermometer = SerialThermometer(some_link(clock), clock, POLLED)
    for driver in (meter, source, fixture, thermometer):
        driver.close()
