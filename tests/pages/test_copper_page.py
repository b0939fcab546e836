"""The page of a lot's copper: the pull list, widths entered by keyboard, what they imply."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect
from starlette.testclient import TestClient

from station.app.copper_records import copper_entries
from station.app.lot_life import receive_lot
from station.app.pull_list import pulls_on_record
from station.app.workplace import Workplace
from station.pages.application import make_application
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

LOT, SERIAL = "L2641", "L2641-01-A01"
HOME = "http://localhost"
WIDTHS = {
    "kind": "widths",
    "serial": SERIAL,
    "top:1:1": "108",
    "foot:1:1": "116",
    "top:1:10": "109,5",
    "u": "1",
    "why": "corner",
    "method": "microscope",
}


@pytest.fixture
def workplace(tmp_path: Path) -> Iterator[Workplace]:
    """A lot of two panels on record, no bench."""
    record_lot(tmp_path, LOT, 2, mean_ohm=8.58, results=1)
    with workplace_on(tmp_path, bench=False) as found:
        yield found


@pytest.fixture
def engineer(workplace: Workplace) -> TestClient:
    """A browser with an engineer's badge."""
    client = TestClient(make_application(workplace), base_url=HOME, headers={"origin": HOME})
    client.post("/scan", data={"scan": "EN-02"})
    return client


def test_form_is_for_engineers_only(workplace: Workplace) -> None:
    """Whoever sits there may read; nobody enters without an engineer's badge."""
    client = TestClient(make_application(workplace), base_url=HOME, headers={"origin": HOME})
    page = client.get(f"/lots/{LOT}/copper")
    answer = client.post(f"/lots/{LOT}/copper", data=WIDTHS)

    assert "Units to look at" in page.text
    assert "Put the widths on record" not in page.text
    assert 403 == answer.status_code
    assert () == copper_entries(workplace.station.records, LOT)


def test_widths_come_on_record_in_si(workplace: Workplace, engineer: TestClient) -> None:
    """Micrometres with point or comma; who by the badge; what they imply is on the page that follows."""
    answer = engineer.post(f"/lots/{LOT}/copper", data=WIDTHS)
    entry = copper_entries(workplace.station.records, LOT)[0]

    assert 200 == answer.status_code
    assert "left for thickness" in answer.text
    assert ("EN-02", "corner", "microscope") == (entry.who, entry.why, entry.method)
    assert [108e-6, 109.5e-6] == pytest.approx([row.top_m for row in entry.rows])  # type: ignore[union-attr]


def test_form_goes_on_to_the_next_unit_and_keeps_what_would_be_typed_again(engineer: TestClient) -> None:
    """Microscope, uncertainty and reason stay; the unit is the next one of the list that nobody measured."""
    first = engineer.get(f"/lots/{LOT}/copper").text
    serial = re.findall(r'id="serial"[^>]*value="([^"]*)"', first)[0]
    answer = engineer.post(f"/lots/{LOT}/copper", data=WIDTHS | {"serial": serial})
    following = re.findall(r'id="serial"[^>]*value="([^"]*)"', answer.text)[0]

    assert following
    assert serial != following
    assert re.search(r'id="u"[^>]*value="1"', answer.text)
    assert re.search(r'id="widths-method"[^>]*value="microscope"', answer.text)


def test_section_and_coupons_come_on_record(workplace: Workplace, engineer: TestClient) -> None:
    """Each by its own form."""
    section = {"kind": "sections", "serial": SERIAL, "thickness1": "17.2", "u": "0.3", "why": "highest"}
    coupons = {
        "kind": "coupons",
        "panel": "01",
        "length": "50",
        "width1": "100",
        "resistance1": "532.6",
        "width2": "400",
        "resistance2": "124.0",
        "temperature": "23",
        "u": "0.3",
        "why": "incoming",
    }
    engineer.post(f"/lots/{LOT}/copper", data=section)
    answer = engineer.post(f"/lots/{LOT}/copper", data=coupons)

    assert "etch loss 8.96 um" in answer.text
    assert ["sections", "coupons"] == [each.kind for each in copper_entries(workplace.station.records, LOT)]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"top:1:1": "abc"}, "layer 1, turn 1, top: must be a number above 0"),
        ({"u": ""}, "standard uncertainty, um: must be a number above 0"),
        ({"top:1:1": "nan"}, "must be a number above 0"),
        ({"serial": "L2641-09-A01"}, "no such unit in this lot"),
        ({"why": ""}, "for a reason"),
        ({"pitch:1:1": "300"}, "wrong magnification"),
        ({"top:1:1": "", "foot:1:1": "", "top:1:10": ""}, "Nothing was filled in"),
        ({"pitch:1:20": "240"}, "a pitch needs the width"),
        ({"kind": "nonsense"}, "Nothing was filled in"),
        ({"instead_of": "9"}, "no entry 9"),
    ],
)
def test_wrong_field_comes_back_with_what_would_be_right(
    workplace: Workplace, engineer: TestClient, change: dict[str, str], words: str
) -> None:
    """Nothing is on record, and what was typed is still there."""
    answer = engineer.post(f"/lots/{LOT}/copper", data=WIDTHS | change)

    assert 400 == answer.status_code
    assert words in answer.text
    assert "109,5" in answer.text or "top:1:10" in change or "kind" in change
    assert () == copper_entries(workplace.station.records, LOT)


def test_what_is_typed_is_never_markup(engineer: TestClient) -> None:
    """A reason with markup is shown as text."""
    answer = engineer.post(f"/lots/{LOT}/copper", data=WIDTHS | {"why": "<b>bold</b>", "u": "x"})

    assert "<b>bold" not in answer.text


def test_lot_that_was_received_takes_coupons_before_a_unit_is_measured(
    workplace: Workplace, engineer: TestClient
) -> None:
    """The page of its copper is there, with nothing to pull yet; the life page leads to it."""
    receive_lot(workplace.station.records, "L2650", 96, part="IS-20", who="EN-02", utc=START)
    page = engineer.get("/lots/L2650/copper")
    life = engineer.get("/lots/L2650/life")

    assert 200 == page.status_code
    assert "Widths along the track" in page.text
    assert 'href="/lots/L2650/copper"' in life.text


def test_unknown_lot_has_no_page(engineer: TestClient) -> None:
    """In words, not a traceback."""
    answer = engineer.get("/lots/L9999/copper")

    assert 404 == answer.status_code
    assert "L9999" in answer.text


def _complaints(page: Page, name: str) -> list[str]:
    SCREENSHOTS.mkdir(exist_ok=True)
    page.screenshot(path=SCREENSHOTS / f"{name}.png", full_page=True)
    return [
        f"{each['id']}: {node['html'][:200]}"
        for each in Axe().run(page).response["violations"]
        if each["impact"] in ("serious", "critical")
        for node in each["nodes"]
    ]


@pytest.mark.slow
def test_engineer_records_the_list_and_enters_widths_by_keyboard(workplace: Workplace) -> None:
    """Tab from field to field, Enter at the end; nothing serious for a screen reader, no sideways scroll at 200 %."""
    with opened_browser() as browser, served(workplace) as address, browser.new_context(viewport=VIEW) as context:
        page = patient(context).new_page()
        page.goto(f"{address}sign-in")
        page.locator("#badge").fill("EN-02")
        page.keyboard.press("Enter")
        expect(page.locator(".who")).to_contain_text("EN-02", timeout=DEADLINE_S * 1e3)
        page.goto(f"{address}lots/{LOT}/copper")
        page.locator("#pull-why").fill("R20 is high")
        page.keyboard.press("Enter")
        page.wait_for_selector("text=Record a new list")
        page.get_by_label("top in um, layer 1, turn 1", exact=True).focus()
        for text in ("108", "116", "240", "109", "117", ""):
            page.keyboard.type(text)
            page.keyboard.press("Tab")
        page.get_by_label("Standard uncertainty, µm").first.fill("1")
        page.locator("#widths-why").fill("highest")
        page.keyboard.press("Enter")
        page.wait_for_selector("#implied")
        complaints = _complaints(page, "copper")
        page.set_viewport_size({"width": 512, "height": 300})
        width = page.evaluate("document.documentElement.scrollWidth")
    workplace.station.stop.clear()
    entry = copper_entries(workplace.station.records, LOT)[0]

    assert [] == complaints
    assert width <= 512
    assert 2 == len(entry.rows)
    assert pulls_on_record(workplace.station.records, LOT)
