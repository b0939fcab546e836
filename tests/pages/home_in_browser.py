"""A home with a lot on record and no bench, its pages served, and an engineer signed in."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, expect

from station.app.workplace import Workplace
from tests.app.judged_lot import record_lot
from tests.pages.station_in_browser import DEADLINE_S, SCREENSHOTS, VIEW, patient, served, workplace_on

DEADLINE_MS = DEADLINE_S * 1e3


@contextmanager
def home_with_lot(home: Path, values: Sequence[float | None]) -> Iterator[tuple[Workplace, str]]:
    """Give a workplace without a bench on a lot of these R20, and the address of its pages."""
    record_lot(home, values)
    with workplace_on(home, bench=False) as workplace:
        try:
            with served(workplace) as address:
                yield workplace, address
        finally:
            workplace.station.stop.clear()


@contextmanager
def signed_in(browser: Browser, address: str, *, badge: str = "EN-02", scheme: str = "light") -> Iterator[Page]:
    """Give a page on which somebody is signed in."""
    light = "light" if scheme == "light" else "dark"
    context: BrowserContext
    with browser.new_context(viewport=VIEW, color_scheme=light) as context:  # type: ignore[arg-type]
        page = patient(context).new_page()
        page.goto(address + "sign-in")
        page.locator("#badge").fill(badge)
        page.keyboard.press("Enter")
        expect(page.locator(".who")).to_contain_text(badge, timeout=DEADLINE_MS)
        yield page


def looked_at(page: Page, name: str, scheme: str) -> list[str]:
    """Take a picture; return what a screen reader would miss (serious or critical), and sideways scrolling at 200 %."""
    SCREENSHOTS.mkdir(exist_ok=True)
    page.screenshot(path=SCREENSHOTS / f"{name}-{scheme}.png", full_page=True)
    page.set_viewport_size({"width": 512, "height": 300})
    wide = page.evaluate("document.documentElement.scrollWidth")
    page.set_viewport_size(VIEW)  # type: ignore[arg-type]
    sideways = [f"{wide} px wide at 512"] if wide > 512 else []
    return sideways + [
        f"{each['id']}: {node['html'][:200]}"
        for each in Axe().run(page).response["violations"]
        if each["impact"] in ("serious", "critical")
        for node in each["nodes"]
    ]
