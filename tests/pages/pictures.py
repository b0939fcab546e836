"""Make the README's pictures of the pages from our own demo's units: `python -m tests.pages.pictures`."""

import tempfile
from pathlib import Path

from playwright.sync_api import Page, expect

from station.app.demo import SHOWN, demo_serials
from station.core.results import Decision
from tests.pages.station_in_browser import DEADLINE_S, opened_browser, scan, served, settled, workplace_on

FOLDER = Path(__file__).parents[2] / ".docs"
UNITS = demo_serials(64)
LAST = "L2641-09-A01"
VIEW = {"width": 1180, "height": 505}


def main() -> None:
    """Measure the demo's units, then take the operator's page and the lot's."""
    defects = tuple((UNITS[place], defect) for defect, place in SHOWN)
    with tempfile.TemporaryDirectory() as home, workplace_on(Path(home), defects=defects) as workplace:
        workplace.begin_shift("OP-07")
        workplace.verify("OP-07")
        settled(workplace, verified=True)
        with opened_browser() as browser, served(workplace) as address:
            page = browser.new_page(viewport=VIEW, device_scale_factor=1)
            page.goto(address)
            scan(page, "OP-07")
            for serial in UNITS:
                for _ in range(4):
                    workplace.scan(serial, "OP-07")
                    settled(workplace)
                    decided = workplace.shown.board.decided
                    if decided is None or decided.held or decided.decision is not Decision.INVALID:
                        break
            workplace.scan(LAST, "OP-07")
            settled(workplace)
            expect(page.locator(".verdict .serial")).to_have_text(LAST, timeout=DEADLINE_S * 1e3)
            take(page, "operator")
            page.goto(address + "lots/L2641")
            page.set_viewport_size({"width": 1180, "height": 800})
            take(page, "lot")


def take(page: Page, name: str) -> None:
    """Keep what the window shows."""
    page.screenshot(path=FOLDER / f"{name}.png")


if __name__ == "__main__":
    main()
