"""The list of lots: newest first, by pages; and what a lot's page reads."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from station.app.lot_life import receive_lot
from station.app.station import Station
from station.app.workplace import Workplace
from station.pages.application import make_application
from tests.records.makers import START

HOME = "http://localhost"


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    """The pages of a station where 45 lots were received."""
    with Station.open(tmp_path / "home") as station:
        for number in range(45):
            receive_lot(station.records, f"L{2600 + number}", 10, who="EN-02", utc=START)
        yield TestClient(make_application(Workplace(station, where="a test")), base_url=HOME)


@pytest.mark.parametrize(
    ("query", "there", "not_there"),
    [
        ("", ("L2644", "L2605", "Older lots", "1 to 40 of 45"), ("L2604", "Newer lots")),
        ("?from=40", ("L2604", "L2600", "Newer lots", "41 to 45 of 45"), ("L2605", "Older lots")),
        ("?from=99999", ("L2600",), ("Older lots",)),
        ("?from=-1", ("L2644",), ("Newer lots",)),
        ("?from=²", ("L2644",), ("Newer lots",)),
    ],
)
def test_lots_are_listed_newest_first_by_pages(
    client: TestClient, query: str, there: tuple[str, ...], not_there: tuple[str, ...]
) -> None:
    """Forty at a time, with a way to the others; nonsense in the address is the first page."""
    text = client.get(f"/lots{query}").text

    assert [] == [each for each in there if each not in text]
    assert [] == [each for each in not_there if each in text]
