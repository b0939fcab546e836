"""The lot's I-MR chart and its slices in a browser."""

from collections.abc import Iterator

import numpy as np
import pytest
from playwright.sync_api import Browser

from station.app.workplace import Workplace
from tests.pages.home_in_browser import home_with_lot, looked_at, signed_in
from tests.pages.station_in_browser import opened_browser

pytestmark = pytest.mark.slow
COUNT = 110
JUMP = 60


def made() -> list[float]:
    """Return R20 in order of measuring: one far off, and a shift at the end."""
    values = np.random.default_rng(11).normal(8.0, 0.05, COUNT)
    values[JUMP] = 8.6
    values[90:] += 0.12
    return [float(each) for each in values]


@pytest.fixture(scope="module")
def station(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Workplace, str]]:
    """A lot on two panels."""
    with home_with_lot(tmp_path_factory.mktemp("home"), made()) as found:
        yield found


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all."""
    with opened_browser() as found:
        yield found


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_chart_marks_what_is_odd_and_leads_to_it_by_keyboard(
    browser: Browser, station: tuple[Workplace, str], scheme: str
) -> None:
    """The unit that is far off is a cross in both charts and named; Enter on it opens its page."""
    _, address = station
    serial = f"L2641-01-{'ABCDEFGH'[JUMP // 12]}{JUMP % 12 + 1:02d}"
    with signed_in(browser, address, scheme=scheme) as page:
        page.goto(address + "lots/L2641")
        findings = looked_at(page, "lot-chart", scheme)
        marked = page.locator("#process svg a:has(path.fail)")
        crosses = marked.evaluate_all("all => all.map(each => each.getAttribute('href'))")
        points = page.locator("#process svg").first.locator("a").count()
        page.locator(f"#process svg a[href='/units/{serial}']").first.press("Enter")
        page.wait_for_url(f"**/units/{serial}")

    assert [] == findings
    assert COUNT == points
    assert 2 <= crosses.count(f"/units/{serial}")


def test_lot_is_sliced_by_what_is_known_of_its_units(browser: Browser, station: tuple[Workplace, str]) -> None:
    """Panel, bench, nest, operator, hour; a slice shows its own units' chart."""
    _, address = station
    with signed_in(browser, address) as page:
        page.goto(address + "lots/L2641")
        headings = page.locator("#slices h2").all_inner_texts()
        page.goto(address + "lots/L2641?panel=02")
        points = page.locator("#process svg").first.locator("a").count()
        page.goto(address + "lots/L2641?chart=L")
        charted = page.locator("#process h2").inner_text()

    assert ["By panel", "By bench", "By nest", "By operator", "By hour UTC"] == headings
    assert COUNT - 96 == points
    assert "L in order of measuring" == charted
