"""Find the cause: on a unit's and a lot's page, what the command says, with evidence; the budget beside it."""

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from station.app.causes import explain_unit_on_record
from station.app.demo import demo_serials
from station.app.workplace import Workplace
from station.core.results import Decision
from tests.pages.home_in_browser import looked_at, signed_in
from tests.pages.station_in_browser import opened_browser, served, settled, workplace_on

pytestmark = pytest.mark.slow
UNITS = demo_serials(12)
SHORTED = UNITS[7]


@pytest.fixture(scope="module")
def station(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Workplace, str]]:
    """A dozen units measured on a verified bench, one with shorted turns."""
    with workplace_on(tmp_path_factory.mktemp("home"), defects=((SHORTED, "shorted_turns"),)) as workplace:
        workplace.verify("OP-07")
        settled(workplace, verified=True)
        for serial in UNITS:
            workplace.scan(serial, "OP-07")
            settled(workplace)
        with served(workplace) as address:
            yield workplace, address


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all."""
    with opened_browser() as found:
        yield found


def told(page: Page, place: str) -> list[str]:
    """Return the lines of a list or table on a page, with single blanks."""
    return [re.sub(r"\s+", " ", each) for each in page.locator(place).all_inner_texts()]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_unit_leads_to_its_cause_by_keyboard(browser: Browser, station: tuple[Workplace, str], scheme: str) -> None:
    """The likeliest cause and every piece of evidence, as the explanation has them."""
    workplace, address = station
    found = explain_unit_on_record(workplace.station.records, SHORTED)
    with signed_in(browser, address, scheme=scheme) as page:
        page.goto(address + f"units/{SHORTED}")
        page.get_by_role("link", name="Find the cause").press("Enter")
        page.wait_for_url("**/cause")
        findings = looked_at(page, "unit-cause", scheme)
        causes = told(page, "#causes tbody th")
        evidence = told(page, "#evidence li")

    assert [] == findings
    assert found.likeliest.words == causes[0]
    assert "short" in causes[0]
    assert [re.sub(r"\s+", " ", each) for each in found.evidence] == evidence


def test_lot_leads_to_its_causes(browser: Browser, station: tuple[Workplace, str]) -> None:
    """By count, each example with a way to its own cause."""
    _, address = station
    with signed_in(browser, address) as page:
        page.goto(address + "lots/L2641")
        page.get_by_role("link", name="Find the causes").press("Enter")
        page.wait_for_url("**/causes")
        findings = looked_at(page, "lot-causes", "light")
        examples = page.locator("#causes a").evaluate_all("all => all.map(each => each.getAttribute('href'))")

    assert [] == findings
    assert f"/units/{SHORTED}/cause" in examples


def test_budget_shows_shares_and_what_would_halve_it(browser: Browser, station: tuple[Workplace, str]) -> None:
    """Of each measured result: terms, k, what dominates, advice."""
    workplace, address = station
    records = workplace.station.records
    passed = next(each for each in UNITS if records.runs_of(each)[-1].decision is Decision.PASS)
    with signed_in(browser, address) as page:
        page.goto(address + f"units/{passed}")
        page.locator(".budget summary").first.press("Enter")
        findings = looked_at(page, "unit-budget", "light")
        words = page.locator(".budget").first.inner_text()
        count = page.locator(".budget").count()

    assert [] == findings
    assert len(workplace.station.records.run(records.runs_of(passed)[-1].run_id).results) == count
    assert "Uncertainty budget of R20" in words
    assert "combined" in words
    assert "U would be halved with" in words
