"""Gauge studies in the browser: for engineers, with their readings by unit, and with none before the last is taken."""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from drivers.stop import Stopped
from station.app.simulated import Simulation, reference_truth
from station.app.station import Station
from station.app.study_begin import StudyWanted, begin_study
from station.app.study_records import study
from station.app.workplace import Workplace
from tests.end_to_end.guided import APPRAISERS, NotingDesk, begin, digits_in, runs_of, sit
from tests.end_to_end.shop import SEED, Shop
from tests.pages.station_in_browser import DEADLINE_S, SCREENSHOTS, VIEW, opened_browser, patient, served

pytestmark = pytest.mark.slow
GOOD = Station.shipped_references("IS-20")[0]
CROSSED, TYPE1, UNFINISHED = "G0001", "G0002", "G0003"
DEADLINE_MS = DEADLINE_S * 1e3


@pytest.fixture(scope="module")
def values(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, list[float]]]:
    """Serve a station with three studies on record; gives its address and the readings of the unfinished one."""
    home = tmp_path_factory.mktemp("home")
    with Shop(home) as shop:
        units = (*shop.new_units(10), reference_truth(GOOD))
        with shop.opened(units=units, simulation=Simulation(seed=SEED)) as opened:
            sit(opened, begin(opened, units=10, method="inductance", trials=3), NotingDesk())
            wanted = StudyWanted((GOOD.serial,), ("EN-02",), characteristics=("R20",), trials=10, why="new probes")
            sit(opened, begin_study(shop.station.records, opened.inspection, wanted), NotingDesk())
            state = begin(opened, units=4)
            with pytest.raises(Stopped):
                sit(opened, state, NotingDesk(leave_at=9))
        runs = shop.station.records.audit_entries(subject=f"gauge study {UNFINISHED}")
        assert 9 == len(runs)
    with Station.open(home) as station:
        hidden = [
            each.value
            for run in runs_of(station.records, study(station.records, UNFINISHED))
            for each in run.results
            if each.value is not None
        ]
        with Workplace(station, where="a test") as workplace, served(workplace) as address:
            yield address, hidden


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all."""
    with opened_browser() as found:
        yield found


@contextmanager
def signed_in(browser: Browser, address: str, badge: str, *, scheme: str = "light") -> Iterator[Page]:
    """Give a page with somebody signed in; no bench is open."""
    with browser.new_context(viewport=VIEW, color_scheme=scheme) as context:
        page = patient(context).new_page()
        page.goto(address + "sign-in")
        page.locator("#badge").fill(badge)
        page.get_by_role("button", name="Sign in").click()
        expect(page.locator(".who")).to_contain_text(badge, timeout=DEADLINE_MS)
        yield page


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("path", ["gauge", f"gauge/{CROSSED}", f"gauge/{TYPE1}", f"gauge/{UNFINISHED}"])
def test_gauge_page_has_no_serious_finding(
    browser: Browser, values: tuple[str, list[float]], path: str, scheme: str
) -> None:
    """Axe finds nothing serious or critical, the console has no complaint; a picture is kept."""
    address, _ = values
    complaints: list[str] = []
    with signed_in(browser, address, "EN-02", scheme=scheme) as page:
        page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
        page.goto(address + path)
        page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
        SCREENSHOTS.mkdir(exist_ok=True)
        page.screenshot(path=SCREENSHOTS / f"{path.replace('/', '-')}-{scheme}.png", full_page=True)
        found = Axe().run(page).response["violations"]

    assert [] == complaints
    assert [] == [each["id"] for each in found if each["impact"] in ("serious", "critical")]


def test_engineer_finds_a_study_and_its_readings(browser: Browser, values: tuple[str, list[float]]) -> None:
    """From the navigation to the list to the study: a shape for each of 60 readings, and every reading in the table."""
    address, _ = values
    with signed_in(browser, address, "EN-02") as page:
        page.get_by_role("link", name="Gauge studies").click()
        page.get_by_role("link", name=CROSSED).click()
        expect(page.locator("h1")).to_contain_text(CROSSED)
        drawing = page.locator("svg[aria-label^='readings of L in']")
        marks = [drawing.first.locator(f".series-{number}").count() for number in range(3)]
        words = page.locator("main").inner_text()
        rows = page.locator("details tbody tr").count()

    assert [30, 30, 0] == marks
    assert 10 == rows
    assert "% of tolerance" in words
    assert "Variance shares" in words


def test_unfinished_study_shows_who_has_how_many_to_take_and_no_reading(
    browser: Browser, values: tuple[str, list[float]]
) -> None:
    """Neither on the page nor in its source."""
    address, hidden = values
    with signed_in(browser, address, "EN-02") as page:
        page.goto(address + f"gauge/{UNFINISHED}")
        words, source = page.locator("main").inner_text(), page.content()

    assert 9 <= len(hidden)
    assert [] == digits_in(source, hidden)
    assert f"--resume {UNFINISHED}" in words
    assert f"{APPRAISERS[1]}: 7" in words


def test_audit_trail_has_the_studies_and_not_each_reading(browser: Browser, values: tuple[str, list[float]]) -> None:
    """Readings come by the hundred and would bury what people did."""
    address, _ = values
    with signed_in(browser, address, "EN-02") as page:
        page.goto(address + "equipment")
        trail = page.locator("details").filter(has_text="Audit trail").text_content() or ""

    assert 3 == trail.count("gauge study opened")
    assert "gauge study reading" not in trail


@pytest.mark.parametrize("path", ["gauge", f"gauge/{CROSSED}"])
def test_operator_is_not_shown_the_studies(browser: Browser, values: tuple[str, list[float]], path: str) -> None:
    """Who may be an appraiser again has no link to them, and is refused."""
    address, _ = values
    with signed_in(browser, address, "OP-07") as page:
        links = page.get_by_role("link", name="Gauge studies").count()
        answer = page.goto(address + path)

    assert answer is not None
    assert (0, 403) == (links, answer.status)


@pytest.mark.parametrize("path", ["gauge", f"gauge/{CROSSED}", f"gauge/{TYPE1}"])
def test_gauge_page_needs_no_sideways_scrolling_at_twice_the_size(
    browser: Browser, values: tuple[str, list[float]], path: str
) -> None:
    """At 200 % zoom (half the width, WCAG 2.2, 1.4.4) the page as a whole stays within the window."""
    address, _ = values
    with signed_in(browser, address, "EN-02") as page:
        page.set_viewport_size({"width": 512, "height": 300})
        page.goto(address + path)

        assert page.evaluate("document.documentElement.scrollWidth") <= 512


def test_study_that_is_not_on_record_is_told_so(browser: Browser, values: tuple[str, list[float]]) -> None:
    """A page with the words, never a traceback."""
    address, _ = values
    with signed_in(browser, address, "EN-02") as page:
        answer = page.goto(address + "gauge/G9999")
        words = page.locator("main").inner_text()

    assert answer is not None
    assert 404 == answer.status
    assert "'G9999' is not on record" in words
