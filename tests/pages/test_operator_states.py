"""Each state of the operator's page at 1024 x 600, in light and dark, and at twice the size: to read, not to scroll."""

from collections.abc import Iterator
from typing import Literal

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


@pytest.fixture(scope="module")
def page(browser: Browser, address: str) -> Iterator[Page]:
    """A page with an operator signed in."""
    with browser.new_context(viewport=VIEW) as context:
        found = patient(context).new_page()
        found.goto(address)
        scan(found, "OP-07")
        expect(found.locator(".who")).to_contain_text("OP-07")
        yield found


@pytest.fixture(scope="module")
def stranger(browser: Browser) -> Iterator[Page]:
    """A page that nobody is signed in at."""
    with browser.new_context(viewport=VIEW) as context:
        yield patient(context).new_page()


@pytest.mark.parametrize("name", STATES)
def test_state_is_whole_at_the_smallest_window_and_at_twice_the_size(
    page: Page, stranger: Page, workplace: Posed, address: str, name: str
) -> None:
    """What to do next, the decision and the stop are in sight, none over the other; axe finds nothing, light or dark.

    At 200 % zoom (WCAG 2.2, 1.4.4) the field to scan into comes first, and nothing lies beside the window.
    """
    seen = stranger if name == "signed-out" else page
    seen.set_viewport_size(VIEW)
    workplace.pose = pose(name)
    seen.goto(address)
    if name == "link-lost":
        seen.evaluate("source.close(); connected(false)")
    serious = {each for scheme in ("dark", "light") for each in findings(seen, name, scheme)}
    hidden = [each for each in (".verdict .next", ".verdict .word", ".strip") if not above(seen, each, ".ask")]
    stop = seen.locator("button.stop").bounding_box()
    wide = seen.evaluate("document.documentElement.scrollWidth")
    asked = seen.get_by_role("button", name="Done, it is in place").is_visible()
    seen.set_viewport_size({"width": 512, "height": 300})
    seen.screenshot(path=SCREENSHOTS / f"operator-{name}-zoomed.png", full_page=True)
    wide_zoomed = seen.evaluate("document.documentElement.scrollWidth")
    field = seen.locator("#field").bounding_box()

    assert set() == serious - ({"color-contrast"} if name == "link-lost" else set())
    assert [] == hidden
    assert stop is not None
    assert stop["y"] + stop["height"] <= VIEW["height"]
    assert (True, True) == (wide <= VIEW["width"], wide_zoomed <= 512)
    assert (name == "spacer") == asked
    assert field is not None
    assert field["y"] + field["height"] <= 300


def findings(page: Page, name: str, scheme: Literal["light", "dark"]) -> set[str]:
    """Keep a picture in a colour scheme; return what axe finds serious."""
    page.emulate_media(color_scheme=scheme)
    SCREENSHOTS.mkdir(exist_ok=True)
    page.screenshot(path=SCREENSHOTS / f"operator-{name}-{scheme}.png")
    found = Axe().run(page).response["violations"]
    return {each["id"] for each in found if each["impact"] in ("serious", "critical")}


def above(page: Page, upper: str, lower: str) -> bool:
    """Tell whether all of one thing lies above another."""
    first, second = page.locator(upper).bounding_box(), page.locator(lower).bounding_box()
    return first is not None and second is not None and first["y"] + first["height"] <= second["y"] + 1
