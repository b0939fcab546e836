"""The reference firmware and the real driver pass the drivers' contract suite, in simulated time."""

from collections.abc import Sequence
from itertools import cycle

import pytest

from drivers.clock import Clock
from drivers.contracts.drivers import DriverCase, check_driver
from drivers.fixture import LineFixture
from drivers.instruments import Route
from drivers.link import Link
from drivers.readings import Reading
from tests.drivers.benches import FIXTURE
from tests.firmware.conftest import BoardMaker
from tests.firmware.contract_peer import FirmwarePeer, expected

_BOARDS = 3  # the suite has two benches at a time


def _readings(driver: LineFixture) -> Sequence[Reading]:
    driver.set_route(Route.KELVIN_CHECK)
    contacts = driver.check_contacts()
    driver.set_route(Route.SOURCE_FORWARD)
    return [*contacts, driver.measure_field(mains_cycles=1)]


@pytest.mark.slow
def test_firmware_passes_the_drivers_suite(make_board: BoardMaker) -> None:
    """Whatever happens to a line between driver and firmware: an error or the truth, and soon the truth again."""
    boards = cycle([make_board() for _ in range(_BOARDS)])

    def make_driver(link: Link, clock: Clock, identity: str) -> LineFixture:
        return LineFixture(link, clock, FIXTURE, expected_identity=identity)

    check_driver(
        DriverCase(
            make=make_driver,
            prepare=lambda driver: None,
            measure=_readings,
            peer=lambda: FirmwarePeer(next(boards)),
            expected=expected,
            terminator_out=b"\n",
            checksum=True,
        )
    )
