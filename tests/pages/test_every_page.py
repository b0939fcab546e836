"""Every page, in light and dark: nothing serious for a screen reader, nothing from elsewhere, a picture to look at."""

import io
import re
from collections.abc import Iterator

import pytest
import zxingcpp
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from station.app.demo import demo_serials
from station.app.workplace import Workplace
from station.core.results import Decision
from tests.pages.station_in_browser import (
    DEADLINE_S,
    SCREENSHOTS,
    VIEW,
    opened_browser,
    patient,
    scan,
    served,
    settled,
    workplace_on,
)

pytestmark = pytest.mark.slow
UNITS = demo_serials(24)
DEFECTS = (
    (UNITS[3], "open"),
    (UNITS[9], "shorted_turns"),
    (UNITS[14], "high_resistance"),
    (UNITS[18], "high_resistance"),
)
DEADLINE_MS = DEADLINE_S * 1e3
PAGES = {
    "bench": "",
    "start": "start",
    "sign-in": "sign-in",
    "lots": "lots",
    "lot": "lots/L2641",
    "copper-of-lot": "lots/L2641/copper",
    "lot-panel": "lots/L2641?panel=01",
    "unit": f"units/{UNITS[0]}",
    "unit-fail": f"units/{UNITS[9]}",
    "unit-held": f"units/{UNITS[3]}",
    "held": "held",
    "unit-fail-cause": f"units/{UNITS[9]}/cause",
    "lot-all-causes": "lots/L2641/causes",
    "lot-by-hour": "lots/L2641?chart=L",
    "concessions-none": "concessions?lot=L2641",
    "plans": "plans",
    "plan": "plans/IS-20/1",
    "limits": "plans/IS-20/edit",
    "equipment": "equipment",
    "gauge-studies": "gauge",
    "labels": "labels?lot=L2641",
    "traveller": "traveller?lot=L2641&quantity=2650",
    "refused": "units/nonsense",
}
FIRST_LOAD_BYTES = 200_000


@pytest.fixture(scope="module")
def workplace(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workplace]:
    """A lot of 24 units, four of them with defects, one of these held."""
    with workplace_on(tmp_path_factory.mktemp("home"), defects=DEFECTS) as found:
        found.begin_shift("OP-07")
        found.verify("OP-07")
        settled(found, verified=True)
        for serial in UNITS:
            for _ in range(4):
                found.scan(serial, "OP-07")
                settled(found)
                decided = found.shown.board.decided
                if decided is None or decided.held or decided.decision is not Decision.INVALID:
                    break
        station = found.station
        if not station.records.is_held(UNITS[3]):
            utc = station.clock.utc_now()
            station.records.hold(UNITS[3], reason_code="other", who="EN-02", why="to be looked at", utc=utc)
        yield found


@pytest.fixture(scope="module")
def address(workplace: Workplace) -> Iterator[str]:
    """Where its pages are."""
    with served(workplace) as found:
        yield found


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all."""
    with opened_browser() as found:
        yield found


@pytest.fixture
def light_page(browser: Browser, address: str) -> Iterator[Page]:
    """A page for what doesn't depend on colours."""
    with browser.new_context(viewport=VIEW) as context:
        yield patient(context).new_page()


@pytest.fixture(params=["light", "dark"])
def page(request: pytest.FixtureRequest, browser: Browser, address: str) -> Iterator[Page]:
    """A page in each colour scheme, an engineer signed in."""
    with browser.new_context(viewport=VIEW, color_scheme=request.param) as context:
        found = patient(context).new_page()
        found.goto(address)
        scan(found, "EN-02")
        expect(found.locator(".who")).to_contain_text("EN-02", timeout=DEADLINE_MS)
        yield found


def scheme(page: Page) -> str:
    """Return which colour scheme a page is shown in."""
    return "dark" if page.evaluate("matchMedia('(prefers-color-scheme: dark)').matches") else "light"


@pytest.mark.parametrize("name", PAGES)
def test_page_has_no_serious_finding(page: Page, address: str, name: str) -> None:
    """Axe finds nothing serious or critical, the console has no complaint (content security policy included)."""
    complaints: list[str] = []
    page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(address + PAGES[name])
    SCREENSHOTS.mkdir(exist_ok=True)
    page.screenshot(path=SCREENSHOTS / f"{name}-{scheme(page)}.png", full_page=True)
    found = Axe().run(page).response["violations"]
    serious = [
        f"{each['id']}: {node['html'][:200]}"
        for each in found
        if each["impact"] in ("serious", "critical")
        for node in each["nodes"]
    ]
    expected = ["404"] if name == "refused" else []

    assert [] == serious
    assert expected == [number for each in complaints for number in re.findall("404", each)][:1]
    assert len(expected) == len(complaints)


def test_first_load_is_small_and_from_here_only(page: Page, address: str) -> None:
    """All that the operator's page loads comes from the station, and is small."""
    bodies: list[tuple[str, int]] = []

    def note(url: str, size: int) -> None:
        bodies.append((url, size))

    page.on("response", lambda each: note(each.url, 0 if "/events" in each.url else len(each.body())))
    page.goto(address)
    page.wait_for_load_state("load")

    assert [] == [url for url, _ in bodies if not url.startswith(address)]
    assert sum(size for _, size in bodies) < FIRST_LOAD_BYTES


@pytest.mark.parametrize("name", PAGES)
def test_page_needs_no_sideways_scrolling_at_twice_the_size(light_page: Page, address: str, name: str) -> None:
    """At 200 % zoom (half the width, WCAG 2.2, 1.4.4) the page as a whole stays within the window."""
    light_page.set_viewport_size({"width": 512, "height": 300})
    light_page.goto(address + PAGES[name])

    assert light_page.evaluate("document.documentElement.scrollWidth") <= 512


def test_every_point_of_a_lot_leads_to_its_unit(light_page: Page, address: str) -> None:
    """The scatter has one link a measured unit."""
    light_page.goto(address + "lots/L2641")
    links = light_page.locator("figure svg a[href]").evaluate_all("all => all.map(each => each.getAttribute('href'))")

    assert set(links) <= {f"/units/{each}" for each in UNITS}
    assert len(UNITS) - 4 <= len(set(links))


def test_printed_labels_are_read_back(page: Page, address: str) -> None:
    """What a sheet shows, in light and dark, a scanner reads: every serial of the lot; a traveller, its lot."""
    page.set_viewport_size({"width": 1600, "height": 1200})
    page.goto(address + "labels?lot=L2641")
    serials = page.locator(".label span").all_inner_texts()
    sheet = Image.open(io.BytesIO(page.locator(".sheet-of-labels").screenshot()))
    page.goto(address + "traveller?lot=L2641")
    paper = Image.open(io.BytesIO(page.locator(".traveller").screenshot()))

    assert serials
    assert set(serials) == {each.text for each in zxingcpp.read_barcodes(sheet)}
    assert ["L2641"] == [each.text for each in zxingcpp.read_barcodes(paper)]
