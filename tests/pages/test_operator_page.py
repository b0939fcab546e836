"""The operator's page in a real browser, by keyboard alone."""

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from station.app.demo import demo_serials
from station.app.workplace import Workplace
from station.core.plan_file import parse_plan
from station.core.results import Decision
from station.data import data_path
from tests.pages.station_in_browser import (
    DEADLINE_S,
    VIEW,
    held_at,
    opened_browser,
    patient,
    scan,
    served,
    settled,
    wait_for,
    workplace_on,
)

pytestmark = pytest.mark.slow
UNITS = demo_serials(20)
DEFECTS = ((UNITS[3], "open"), (UNITS[9], "shorted_turns"), (UNITS[14], "high_resistance"))
DEADLINE_MS = DEADLINE_S * 1e3


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all."""
    with opened_browser() as found:
        yield found


@pytest.fixture
def workplace(tmp_path: Path) -> Iterator[Workplace]:
    """A bench at a hundred times the speed, with three seeded defects."""
    with workplace_on(tmp_path, defects=DEFECTS) as found:
        yield found


@pytest.fixture
def page(browser: Browser, workplace: Workplace) -> Iterator[Page]:
    """The operator's page, nobody signed in."""
    with served(workplace) as address, browser.new_context(viewport=VIEW) as context:
        found = patient(context).new_page()
        found.goto(address)
        yield found


def signed_in(page: Page) -> Page:
    """Sign in by badge and wait for the page that follows."""
    scan(page, "OP-07")
    expect(page.locator(".who")).to_contain_text("OP-07", timeout=DEADLINE_MS)
    return page


def test_twenty_units_by_keyboard_alone(page: Page, workplace: Workplace) -> None:
    """Sign in, verify, measure 20 units: what the page counts is what is on record."""
    signed_in(page)
    page.get_by_role("button", name="Verify bench").press("Enter")
    expect(page.locator(".verified.pass")).to_be_visible(timeout=DEADLINE_MS)
    told: list[str] = []
    for serial in UNITS:
        scan(page, serial)
        expect(page.locator(".verdict .serial")).to_have_text(serial, timeout=DEADLINE_MS)
        expect(page.locator(".verdict .place")).to_be_visible(timeout=DEADLINE_MS)
        settled(workplace)
        told.append(page.locator(".verdict .word").inner_text())
    records = workplace.station.records
    summary = records.lot_summary("L2641")
    counted = Counter({"pass": summary.passed, "fail": summary.failed, "not measured": summary.invalid})
    expect(page.locator(".counters")).to_contain_text("20 done", timeout=DEADLINE_MS)
    shown = workplace.shown.counters

    assert counted == Counter(told)
    assert (20, summary.passed, summary.failed, summary.invalid) == (
        shown.done,
        shown.passed,
        shown.failed,
        shown.invalid,
    )
    assert {"pass", "fail", "not measured"} == set(told)
    assert 10 == page.locator(".counters .last a").count()


def test_scan_during_a_run_is_refused_and_stop_key_stops(page: Page, workplace: Workplace) -> None:
    """A second scan says that it was not taken; Esc stops the run, which is INVALID on record with the drive off."""
    signed_in(page)
    workplace.verify("OP-07")
    settled(workplace, verified=True)
    with held_at(workplace, "inductance"):
        scan(page, UNITS[0])
        wait_for(workplace, lambda: workplace.shown.board.method == "inductance")
        scan(page, UNITS[1])
        expect(page.locator(".notice")).to_contain_text(f"'{UNITS[1]}' was NOT taken", timeout=DEADLINE_MS)
        page.keyboard.press("Escape")
        expect(page.locator(".verdict .word")).to_have_text("not measured", timeout=DEADLINE_MS)
    records = workplace.station.records
    record = records.run(records.runs_of(UNITS[0])[-1].run_id)

    assert (Decision.INVALID, "stopped", True) == (record.decision, record.reason.code, record.drive_off_verified)  # type: ignore[union-attr]
    assert [] == records.runs_of(UNITS[1])


def test_reload_and_second_window_see_the_same_run(page: Page, workplace: Workplace) -> None:
    """A reload and a second window mid-run show the run; closing them all doesn't lose it."""
    signed_in(page)
    workplace.verify("OP-07")
    settled(workplace, verified=True)
    with held_at(workplace, "inductance"):
        scan(page, UNITS[0])
        wait_for(workplace, lambda: workplace.shown.board.method == "inductance")
        page.reload()
        expect(page.locator(".verdict .serial")).to_have_text(UNITS[0])
        second = page.context.new_page()
        second.goto(page.url)
        expect(second.locator(".verdict .serial")).to_have_text(UNITS[0])
        scan(second, UNITS[1])
        expect(page.locator(".notice")).to_contain_text("was NOT taken", timeout=DEADLINE_MS)
        address = page.url
        second.close()
        page.goto("about:blank")
    settled(workplace)
    page.goto(address)
    expect(page.locator(".verdict .place")).to_be_visible()

    assert 1 == len(workplace.station.records.runs_of(UNITS[0]))
    assert [] == workplace.station.records.runs_of(UNITS[1])


def test_each_refusal_is_heard(page: Page, workplace: Workplace) -> None:
    """Eyes are on the unit: the same wrong scan twice sounds twice; a scan that is taken does not."""
    signed_in(page)
    page.evaluate(
        "() => { const heard = document.body.dataset; heard.tones = 0;"
        " window.AudioContext = class { constructor() { heard.tones = Number(heard.tones) + 1; } }; }"
    )
    for refusals in (1, 2):
        scan(page, "4006381333931")
        wait_for(workplace, lambda refusals=refusals: workplace.shown.board.refusals == refusals)  # type: ignore[misc]
        expect(page.locator(".notice")).to_contain_text("is no serial of IS-20", timeout=DEADLINE_MS)
        expect(page.locator("body")).to_have_attribute("data-tones", str(refusals), timeout=DEADLINE_MS)
    scan(page, UNITS[0])
    expect(page.locator(".verdict .place")).to_be_visible(timeout=DEADLINE_MS)

    assert "2" == page.locator("body").get_attribute("data-tones")


def test_lost_link_dims_the_last_decision(page: Page, workplace: Workplace) -> None:
    """When the station goes, the page says so at once and shows nothing that could be sorted by."""
    signed_in(page)
    scan(page, UNITS[0])
    expect(page.locator(".verdict .place")).to_be_visible(timeout=DEADLINE_MS)
    workplace.station.stop.end("the station goes")
    expect(page.locator("#lost")).to_be_visible(timeout=DEADLINE_MS)

    assert "0.28" == page.locator(".verdict").evaluate("each => getComputedStyle(each).opacity")


def test_scan_with_nothing_focused_is_caught(page: Page, workplace: Workplace) -> None:
    """The first character of a scan is not lost when the focus is nowhere."""
    signed_in(page)
    page.evaluate("document.activeElement.blur()")
    scan(page, "L2641")
    wait_for(workplace, lambda: workplace.shown.lot != "")

    assert "L2641" == workplace.shown.lot


def test_typed_serial_is_asked_for_twice(page: Page, workplace: Workplace) -> None:
    """What a person types slowly must be typed twice alike; a scanner's speed needs no second time."""
    signed_in(page)
    page.evaluate("document.getElementById('field').dataset.scannerMs = 100")
    page.keyboard.type(UNITS[0], delay=200)
    page.keyboard.press("Enter")
    expect(page.locator("#notice")).to_contain_text("once more", timeout=DEADLINE_MS)
    assert [] == workplace.station.records.runs_of(UNITS[0])

    page.keyboard.type(UNITS[0], delay=200)
    page.keyboard.press("Enter")
    expect(page.locator(".verdict .place")).to_be_visible(timeout=DEADLINE_MS)

    assert 1 == len(workplace.station.records.runs_of(UNITS[0]))


def test_heated_unit_is_followed_to_its_decision(browser: Browser, tmp_path: Path) -> None:
    """Curve and caution while the drive is on; the judged rise under the curve at the end, the caution gone."""
    with (
        workplace_on(tmp_path, plan_file="IS-20-heating.toml", speed=20.0) as workplace,
        served(workplace) as address,
        browser.new_context(viewport=VIEW) as context,
    ):
        release_one_level(workplace)
        page = patient(context).new_page()
        page.goto(address)
        signed_in(page)
        for _ in range(4):  # a computer too busy to look after the drive ends a heating: then once more
            scan(page, UNITS[0])
            expect(page.locator("p.hot")).to_contain_text("HOT, DRIVE ON. Do not touch the coil until")
            expect(page.locator("figure.heating figcaption")).to_contain_text("level 1 of 1, 2 V: rise")
            expect(page.locator(".verdict .place")).to_be_visible(timeout=2 * DEADLINE_MS)
            settled(workplace)
            expect(page.locator("p.hot")).to_have_count(0)
            caption = page.locator("figure.heating figcaption").inner_text()
            if "rise@2V" in caption:
                break
        judged = page.locator(".lines tr", has_text="rise@2V").inner_text()

    assert caption.endswith(("K: pass", "K: fail"))
    assert caption.split()[-1] in judged


def release_one_level(workplace: Workplace) -> None:
    """Release the invented heating plan with one level, soaked out for as short as may be."""
    text = data_path("plans/IS-20-heating.toml").read_text(encoding="utf-8")
    for old, new in (('["1 V", "1.5 V", "2 V"]', '["2 V"]'), ('soak = "2 min"', 'soak = "90 s"')):
        assert old in text
        text = text.replace(old, new)
    station = workplace.station
    station.records.release_plan(parse_plan(text, "h.toml"), who="EN-02", why="tests", utc=station.clock.utc_now())
    workplace.plans_changed()
