"""Each state of the operator's page at 1024 x 600, in light and dark, and at twice the size: to read, not to scroll."""

from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.pages.operator_states import STATES, Posed, pose, posed
from tests.pages.station_in_browser import SCREENSHOTS, VIEW, opened_browser, patient, scan, served

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all."""
    with opened_browser() as found:
        yield found


@pytest.fixture(scope="module")
def workplace(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Posed]:
    """A workplace that shows what it is told to."""
    station, found = posed(tmp_path_factory.mktemp("home"))
    with station, found:
        yield found


@pytest.fixture(scope="module")
def address(workplace: Posed) -> Iterator[str]:
    """Where it is served."""
    workplace.pose = pose("ready")
    with served(workplace) as found:
        yield found


def opened(page: Page, address: str, workplace: Posed, name: str) -> Page:
    """Open the page in a state."""
    workplace.pose = pose(name)
    page.goto(address)
    if name == "signed-out" and page.locator(".who button").count():
        page.get_by_role("button", name="Sign out").click()
    elif name != "signed-out" and not page.locator(".who", has_text="OP-07").count():
        scan(page, "OP-07")
        expect(page.locator(".who")).to_contain_text("OP-07")
        page.goto(address)
    if name == "link-lost":
        page.evaluate("source.close(); connected(false)")
    return page


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", STATES)
def test_state_is_whole_at_the_smallest_window(
    browser: Browser, workplace: Posed, address: str, name: str, scheme: str
) -> None:
    """What to do next, the decision, the caution and the stop are in sight, none over the other; axe finds nothing."""
    with browser.new_context(viewport=VIEW, color_scheme=scheme) as context:
        page = opened(patient(context).new_page(), address, workplace, name)
        SCREENSHOTS.mkdir(exist_ok=True)
        page.screenshot(path=SCREENSHOTS / f"operator-{name}-{scheme}.png")
        ask = page.locator(".ask").bounding_box()
        boxes = [page.locator(each).bounding_box() for each in (".verdict .next", ".verdict .word", ".strip")]
        stop = page.locator("button.stop").bounding_box()
        wide = page.evaluate("document.documentElement.scrollWidth")
        asked = page.get_by_role("button", name="Done, it is in place").is_visible()
        found = Axe().run(page).response["violations"]

    serious = {each["id"] for each in found if each["impact"] in ("serious", "critical")}
    dimmed = {"color-contrast"} if name == "link-lost" else set()

    assert set() == serious - dimmed
    assert ask is not None
    assert stop is not None
    assert all(each is not None and each["y"] + each["height"] <= ask["y"] + 1 for each in boxes)
    assert stop["y"] + stop["height"] <= VIEW["height"]
    assert wide <= VIEW["width"]
    assert (name == "spacer") == asked


@pytest.mark.parametrize("name", STATES)
def test_state_needs_no_sideways_scrolling_at_twice_the_size(
    browser: Browser, workplace: Posed, address: str, name: str
) -> None:
    """At 200 % zoom (WCAG 2.2, 1.4.4) the field to scan into comes first, and nothing lies beside the window."""
    with browser.new_context(viewport={"width": 512, "height": 300}, device_scale_factor=2) as context:
        page = opened(patient(context).new_page(), address, workplace, name)
        page.screenshot(path=SCREENSHOTS / f"operator-{name}-zoomed.png", full_page=True)
        wide = page.evaluate("document.documentElement.scrollWidth")
        field = page.locator("#field").bounding_box()

    assert wide <= 512
    assert field is not None
    assert field["y"] + field["height"] <= 300
