"""Equipment over time: what drifts is told first, a fixture's life and its cleaning log stand beside it."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from station.app.fixture import enter_service
from station.app.workplace import Workplace
from station.core.verification import VerificationValue
from tests.pages.station_in_browser import (
    SCREENSHOTS,
    VIEW,
    opened_browser,
    patient,
    served,
    settled,
    workplace_on,
)

pytestmark = pytest.mark.slow
UNIT = "L2641-01-A01"
SHARES = (0.10, 0.05, 0.12, 0.08, 0.06, 0.11, 0.09, 0.07, 0.30, 0.45, 0.60)
"""How far R20 of the reference unit is off, of what it may be: steady, then running away."""


@pytest.fixture(scope="module")
def workplace(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workplace]:
    """A bench that was verified day after day and drifts of late; its fixture was cleaned once."""
    home: Path = tmp_path_factory.mktemp("home")
    with workplace_on(home) as found:
        found.begin_shift("OP-07")
        found.verify("OP-07")
        settled(found, verified=True)
        found.scan(UNIT, "OP-07")
        settled(found)
        records = found.station.records
        first = records.verifications("bench-1")[-1]
        for day, share in enumerate(SHARES, start=1):
            value = VerificationValue("A01", "R20", "ohm", 7.0 + 0.01 * share, True, "", 0.006, 7.0, 0.008)
            done = replace(
                first, verification_id=f"day-{day}", done_utc=first.done_utc + timedelta(days=day), run_ids=()
            )
            records.add_verification(done, values=[value])
        enter_service(records, "bench-1", who="OP-07", why="20 000 contacts", utc=first.done_utc + timedelta(days=12))
        yield found


@pytest.fixture(scope="module")
def page(workplace: Workplace) -> Iterator[Page]:
    """The equipment's page."""
    with opened_browser() as browser, served(workplace) as address, browser.new_context(viewport=VIEW) as context:
        found = patient(context).new_page()
        found.goto(address + "equipment")
        yield found


def test_drift_is_told_before_all_else_and_drawn(page: Page) -> None:
    """The series that runs away has its warning in words, its single values and their moving average."""
    section = page.locator("#over-time")
    SCREENSHOTS.mkdir(exist_ok=True)
    page.screenshot(path=SCREENSHOTS / "equipment-drift.png", full_page=True)

    expect(section.locator("figure").first).to_contain_text("A01 R20")
    expect(section.locator("figure").first.locator("svg.chart")).to_have_count(2)
    expect(section.locator("figure").first.locator("svg.chart path.fail").first).to_be_visible()
    expect(section).not_to_contain_text("Nothing drifts")


def test_fixture_has_its_life_and_its_log(page: Page) -> None:
    """Contacts made, each contact's resistance and trend, and who cleaned it why."""
    section = page.locator("section", has=page.get_by_role("heading", name="Fixture"))

    expect(section).to_contain_text("contacts made")
    expect(section).to_contain_text("start pad")
    expect(section).to_contain_text("20 000 contacts")
    expect(section.get_by_role("link").last).to_have_attribute("href", f"/units/{UNIT}")
