"""An engineer counts and closes a lot on its page: refused without a reason, on record with one."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from station.app.lot_life import hold_lot, lot_now, receive_lot, release_lot
from station.app.workplace import Workplace
from station.core.lot_life import LotState
from station.records import Records
from tests.cli.lots import record_lot
from tests.pages.station_in_browser import (
    DEADLINE_S,
    SCREENSHOTS,
    VIEW,
    opened_browser,
    patient,
    served,
    workplace_on,
)
from tests.records.makers import START

pytestmark = pytest.mark.slow
DEADLINE_MS = DEADLINE_S * 1e3


@pytest.fixture
def workplace(tmp_path: Path) -> Iterator[Workplace]:
    """A lot of 96 units measured, all in bin 1; no bench."""
    record_lot(tmp_path / "home", "L2641", 1)
    with workplace_on(tmp_path / "home", bench=False) as found:
        yield found


@pytest.fixture(params=["light", "dark"])
def page(request: pytest.FixtureRequest, workplace: Workplace) -> Iterator[Page]:
    """The pages, an engineer signed in, in each colour scheme."""
    with (
        opened_browser() as browser,
        served(workplace) as address,
        browser.new_context(viewport=VIEW, color_scheme=request.param, base_url=address) as context,
    ):
        context.request.post("/scan", form={"scan": "EN-02"}, headers={"origin": address[:-1]})
        found = patient(context).new_page()
        found.goto("/lots")
        expect(found.locator(".who")).to_contain_text("EN-02", timeout=DEADLINE_MS)
        yield found


def serious(page: Page, name: str) -> list[str]:
    """Take a picture of a page and return what axe finds serious or critical."""
    SCREENSHOTS.mkdir(exist_ok=True)
    dark = page.evaluate("matchMedia('(prefers-color-scheme: dark)').matches")
    page.screenshot(path=SCREENSHOTS / f"{name}-{'dark' if dark else 'light'}.png", full_page=True)
    found = Axe().run(page).response["violations"]
    return [
        f"{each['id']}: {node['html'][:200]}"
        for each in found
        if each["impact"] in ("serious", "critical")
        for node in each["nodes"]
    ]


def test_lot_is_received_counted_closed_and_reopened_on_its_page(page: Page, workplace: Workplace) -> None:
    """One unit is missing: refused without a reason, with what was typed kept; closed with one; reopened."""
    records = workplace.station.records
    page.goto("/lots/L2641/life")
    bare = serious(page, "lot-life-open")
    page.get_by_label("Units", exact=True).fill("100")
    page.get_by_role("button", name="Receive").click()
    expect(page.locator("main")).to_contain_text("4 never", timeout=DEADLINE_MS)
    page.get_by_label("bin 1 (good)").fill("95")
    page.get_by_label("unmeasured (in no bin)").fill("4")
    page.get_by_role("button", name="Close the lot").click()
    expect(page.get_by_role("alert")).to_contain_text("1 fewer in all than the 100 received", timeout=DEADLINE_MS)
    refused, kept = serious(page, "lot-life-refused"), page.get_by_label("bin 1 (good)").input_value()
    page.get_by_label("Why a count differs").fill("one given to the customer")
    page.get_by_role("button", name="Close the lot").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("closed", timeout=DEADLINE_MS)
    closed, state = serious(page, "lot-life-closed"), lot_now(records, "L2641").state
    page.get_by_label("Why").fill("found again")
    page.get_by_role("button", name="Reopen").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("open", timeout=DEADLINE_MS)

    assert ([], [], []) == (bare, refused, closed)
    assert ("95", LotState.CLOSED) == (kept, state)
    assert ["EN-02"] * 3 == [each.who for each in records.lot_life("L2641").events]


def test_part_is_closed_and_a_new_lot_received(page: Page, workplace: Workplace) -> None:
    """Only the bins that were filled in are closed; a lot that nothing is known of gets its page."""
    records = workplace.station.records
    receive_lot(records, "L2641", 96, who="EN-02", utc=START)
    page.goto("/lots/L2641/life")
    page.get_by_label("bin 1 (good)").fill("96")
    page.get_by_role("button", name="Close the counted bins only").click()
    expect(page.locator("main")).to_contain_text("96 units of it are closed in parts", timeout=DEADLINE_MS)
    part = serious(page, "lot-life-part")
    page.goto("/lots")
    page.get_by_label("Receive lot").fill("L2650")
    page.get_by_label("units", exact=True).fill("500")
    page.get_by_role("button", name="Receive").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Lot L2650: received", timeout=DEADLINE_MS)
    page.goto("/lots")
    expect(page.get_by_role("link", name="L2650")).to_be_visible(timeout=DEADLINE_MS)

    assert ([], []) == (part, serious(page, "lots-received"))
    assert 500 == records.lot_life("L2650").received


def test_who_only_looks_sees_no_forms(workplace: Workplace) -> None:
    """Without an engineer signed in the numbers are there, and nothing to press; posting is refused."""
    hold_lot(workplace.station.records, "L2641", who="EN-02", why="etch", utc=START)
    with (
        opened_browser() as browser,
        served(workplace) as address,
        browser.new_context(viewport={"width": 512, "height": 300}, base_url=address) as context,
    ):
        found = patient(context).new_page()
        found.goto("/lots/L2641/life")
        wide = found.evaluate("document.documentElement.scrollWidth")
        text = found.locator("main").inner_text()
        answer = context.request.post("/lots/L2641/life/release", form={"why": "x"}, headers={"origin": address[:-1]})

        assert (0, True) == (found.locator("main button").count(), wide <= 512)
        assert "Held by EN-02" in text
        assert 403 == answer.status
    assert _state(workplace.station.records) is LotState.HELD


def _state(records: Records) -> LotState:
    return lot_now(records, "L2641").state


def test_traveller_of_a_held_lot_is_refused_at_the_bench(tmp_path: Path) -> None:
    """Told when the lot is taken up, not unit by unit; released, it is taken up."""
    with workplace_on(tmp_path / "bench") as workplace:
        records = workplace.station.records
        receive_lot(records, "L2641", 24, who="EN-02", utc=START)
        hold_lot(records, "L2641", who="EN-02", why="etch", utc=START)
        workplace.scan("L2641", "OP-07")
        refused = (workplace.shown.lot, workplace.shown.board.notice)
        release_lot(records, "L2641", who="EN-02", why="fine", utc=START)
        workplace.scan("L2641", "OP-07")

        assert "" == refused[0]
        assert "lot L2641 is held: etch. Set it aside." in refused[1]
        assert "L2641" == workplace.shown.lot
