"""The real driver on a real serial link, a pseudo-terminal, the real time, and the firmware behind it."""

from collections.abc import Iterator

import pytest

from drivers.clock import RealClock
from drivers.errors import InstrumentReported
from drivers.fixture import LineFixture
from drivers.instruments import Route
from drivers.links.open import open_link
from drivers.readings import ReadingStatus
from tests.drivers.benches import FIXTURE
from tests.firmware.boards import WiredBoard
from tests.firmware.contract_peer import CONTACT_COUNTS

ENABLE, FORWARD, GUARD, STOP = 2, 4, 8, 9

pytestmark = pytest.mark.slow


@pytest.fixture
def driver(wired: WiredBoard) -> Iterator[LineFixture]:
    """The driver as a bench file would have it."""
    link = open_link(wired.address, name="fixture-1", baud=115_200)
    made = LineFixture(link, RealClock(), FIXTURE, expected_identity="INVENTED,FIX-1,FIX0001")
    yield made
    made.close()


def test_driver_and_firmware_understand_each_other(wired: WiredBoard, driver: LineFixture) -> None:
    """Identity, routes, contact, field, heights, in one go as a run has them."""
    for channel, count in enumerate(CONTACT_COUNTS):
        wired.order(f"mux {channel} {count}")
    identity = driver.identify()
    driver.set_route(Route.KELVIN_CHECK)
    contacts = driver.check_contacts()
    driver.set_height(0.0195)
    driver.set_route(Route.SOURCE_FORWARD)
    field = driver.measure_field(mains_cycles=1)
    driver.retract()

    assert "INVENTED,FIX-1,FIX0001,1.0" == str(identity)
    assert [pytest.approx(1.5e-3), pytest.approx(1.7e-3)] == [each.value for each in contacts]
    assert (0.0, ReadingStatus.GOOD) == (field.value, field.status)


def test_silent_station_loses_the_drive(wired: WiredBoard, driver: LineFixture) -> None:
    """Nobody sends anything any more: enable, then route drop by themselves, and the driver notices."""
    driver.set_route(Route.SOURCE_FORWARD)
    up = wired.wait_for("pin", ENABLE, 1)
    down = wired.wait_for("pin", ENABLE, 0)
    wired.wait_for("pin", FORWARD, 0)

    assert down.time_us - up.time_us >= 999_000  # counted in whole milliseconds
    assert Route.OPEN is driver.state().route
    with pytest.raises(InstrumentReported, match="no longer enabled"):
        driver.measure_field(mains_cycles=1)


@pytest.mark.parametrize("pin", [GUARD, STOP])
def test_guard_or_stop_takes_the_route_from_the_driver(wired: WiredBoard, driver: LineFixture, pin: int) -> None:
    """Without a message; the next field is refused."""
    driver.set_route(Route.SOURCE_FORWARD)
    wired.wait_for("pin", FORWARD, 1)
    wired.order(f"in {pin} 1")
    wired.wait_for("pin", FORWARD, 0)

    with pytest.raises(InstrumentReported):
        driver.measure_field(mains_cycles=1)


def test_station_that_hangs_up_loses_the_drive(wired: WiredBoard, driver: LineFixture) -> None:
    """A pulled plug looks like silence."""
    driver.set_route(Route.SOURCE_FORWARD)
    driver.close()

    wired.wait_for("pin", ENABLE, 0)
    wired.wait_for("pin", FORWARD, 0)
    assert [(ENABLE, 0), (FORWARD, 0)] == wired.pins(ENABLE, FORWARD)[-2:]
