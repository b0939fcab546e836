"""A panel, place by place: by keyboard and scanner alone, resumed from the records, nothing judged at a wrong place."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from station.app.files import read_plan
from station.app.lot_life import hold_lot, receive_lot
from station.app.panel_walk import MISSING
from station.app.workplace import Workplace
from station.core.panel import PanelWay
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
from tests.pages.test_workplace import bench_with_a_person

pytestmark = pytest.mark.slow
PANEL = "L2641-01"
DEFECTS = ((f"{PANEL}-A02", "open"), (f"{PANEL}-A04", "shorted_turns"))
SMALL = (('rows = "A-H"', 'rows = "A"'), ('columns = "01-12"', 'columns = "01-04"'))


@pytest.fixture
def workplace(tmp_path: Path) -> Iterator[Workplace]:
    """A verified bench, a panel of four places: good, open, good, shorted turns."""
    with workplace_on(tmp_path, defects=DEFECTS) as found:
        release(found, *SMALL)
        found.verify("OP-07")
        settled(found, verified=True)
        yield found


def release(workplace: Workplace, *changes: tuple[str, str]) -> None:
    """Release the invented plan with pieces of its text replaced."""
    text = data_path("plans/IS-20.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    station = workplace.station
    station.records.release_plan(parse_plan(text, "p.toml"), who="EN-02", why="tests", utc=station.clock.utc_now())
    workplace.plans_changed()


def way_of(workplace: Workplace) -> PanelWay:
    """The way that is shown."""
    way = workplace.shown.panel
    assert way is not None
    return way


def due(workplace: Workplace) -> str:
    """The place that comes next."""
    place = way_of(workplace).next
    return "" if place is None else place.name


def at(workplace: Workplace) -> str:
    """The serial of that place."""
    place = way_of(workplace).next
    return "" if place is None else place.serial


def here(workplace: Workplace) -> None:
    """Measure the unit of the next place to its end."""
    workplace.panels.measure_here("OP-07", shown=at(workplace))
    settled(workplace)


def test_panel_by_keyboard_and_scanner_alone(workplace: Workplace) -> None:
    """Scan the panel, Enter a place, F2 skips, F4 is missing; the skipped one comes last; the summary is right."""
    with opened_browser() as browser, served(workplace) as address, browser.new_context(viewport=VIEW) as context:
        page = patient(context).new_page()
        page.goto(address)
        scan(page, "OP-07")
        expect(page.locator(".who")).to_contain_text("OP-07")
        scan(page, PANEL)
        expect(page.locator(".verdict .word")).to_have_text("A01")
        press(page, workplace, "F2", "A02")
        page.keyboard.press("Enter")
        expect(page.locator(".verdict .word")).to_have_text("not measured")
        settled(workplace)
        again = page.locator(".verdict .next").inner_text()
        press(page, workplace, "F4", "A03")
        page.keyboard.press("Enter")
        expect(page.locator(".verdict .serial")).to_have_text(f"{PANEL}-A03")
        expect(page.locator(".verdict .place")).to_be_visible()
        settled(workplace)
        press(page, workplace, "F4", "A01")
        page.keyboard.press("Enter")
        expect(page.locator(".verdict .serial")).to_have_text(f"{PANEL}-A01")
        expect(page.locator(".panel-way figcaption")).to_contain_text("2 pass, 2 missing")
        settled(workplace)
        end = page.locator(".verdict .next").inner_text()

    assert "Place A02 once more: take its unit, press Enter." in again
    assert "Panel 01 is done: 2 pass, 2 missing. Scan the next panel." in end
    entries = workplace.station.records.audit_entries(action=MISSING)
    assert [("OP-07", f"{PANEL}-A02"), ("OP-07", f"{PANEL}-A04")] == [(each.who, each.subject) for each in entries]


def press(page: Page, workplace: Workplace, key: str, then: str) -> None:
    """Press a key and wait until `then` comes next, on the page too."""
    page.keyboard.press(key)
    wait_for(workplace, lambda: due(workplace) == then)
    expect(page.locator(".panel-way svg")).to_have_attribute(
        "aria-label", f"panel 01: {then} comes next; {way_of(workplace).words}", timeout=DEADLINE_S * 1e3
    )


def test_each_unit_is_judged_at_its_own_place(workplace: Workplace) -> None:
    """What the map shows is what is on record of the serial of that place; shorted turns fail, open is not measured."""
    workplace.scan(PANEL, "OP-07")
    for _ in range(2):
        here(workplace)
    workplace.panels.skip(shown=at(workplace))
    for _ in range(2):
        here(workplace)
    records = workplace.station.records
    states = {each.serial: records.unit_state(each.serial) for each in way_of(workplace).places}

    assert ["pass", "skipped", "pass", "fail"] == [str(each.state) for each in way_of(workplace).places]
    assert [Decision.PASS, Decision.INVALID, Decision.PASS, Decision.FAIL] == [
        state.decision if state else None for state in states.values()
    ]


def test_panel_is_taken_up_where_it_was_left(workplace: Workplace) -> None:
    """Left and scanned again, at another workplace too: what is decided or missing is known by the records."""
    workplace.scan(PANEL, "OP-07")
    here(workplace)
    workplace.panels.missing("OP-07", shown=at(workplace))
    workplace.panels.leave()
    left = workplace.shown.panel
    with Workplace(workplace.station, where="another window") as other:
        other.scan(PANEL, "OP-08")
        again = way_of(other)

    assert left is None
    assert ["pass", "missing", "to do", "to do"] == [str(each.state) for each in again.places]


def test_unit_of_another_place_is_measured_there_only_when_scanned_twice(workplace: Workplace) -> None:
    """The first scan says which place it is of; the second goes there. The map and the records agree on it."""
    workplace.scan(PANEL, "OP-07")
    workplace.scan(f"{PANEL}-A03", "OP-07")
    settled(workplace)
    refused, runs = workplace.shown.board.notice, workplace.station.records.runs_of(f"{PANEL}-A03")
    workplace.scan(f"{PANEL}-A03", "OP-07")
    settled(workplace)

    assert f"{PANEL}-A03 is the unit of place A03; A01 comes next. Scan it once more to go there." == refused
    assert [] == runs
    assert ["to do", "to do", "pass", "to do"] == [str(each.state) for each in way_of(workplace).places]
    assert "A01" == due(workplace)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("L2641-02-A01", "is a unit of panel 02 of lot L2641, but panel L2641-01 is under way"),
        ("4006381333931", "is no serial of IS-20"),
        ("L2642-01", "panel L2642-01 is of lot L2642, but this is lot L2641"),
        (f"{PANEL}-A01{PANEL}-A02", "two scans have run together"),
    ],
)
def test_wrong_scan_on_the_way_is_refused_with_what_it_is(workplace: Workplace, text: str, words: str) -> None:
    """Nothing is measured, and the way stands where it was."""
    workplace.scan(PANEL, "OP-07")
    workplace.scan(text, "OP-07")
    settled(workplace)

    assert words in workplace.shown.board.notice
    assert ("A01", "4 to do") == (due(workplace), way_of(workplace).words)


def test_nothing_is_noted_of_a_place_during_its_run(workplace: Workplace) -> None:
    """Skip, missing, another panel while the unit is measured: refused; the unit's decision goes to its own place."""
    workplace.scan(PANEL, "OP-07")
    with held_at(workplace, "inductance"):
        workplace.panels.measure_here("OP-07", shown=at(workplace))
        wait_for(workplace, lambda: workplace.shown.board.method == "inductance")
        workplace.panels.missing("OP-07", shown=at(workplace))
        notice = workplace.shown.board.notice
        workplace.scan("L2641-02", "OP-07")
        code = way_of(workplace).code
    settled(workplace)

    assert f"Nothing was noted: {PANEL}-A01 is being measured. Press the key again afterwards." == notice
    assert PANEL == code
    assert "1 pass, 3 to do" == way_of(workplace).words
    assert () == workplace.station.records.audit_entries(action=MISSING)


def test_key_means_the_place_that_its_page_showed(workplace: Workplace) -> None:
    """A page that is behind (another window skipped) gives no unit another place's serial, nor notes it missing."""
    first = f"{PANEL}-A01"
    workplace.scan(PANEL, "OP-07")
    workplace.panels.skip(shown=first)
    workplace.panels.measure_here("OP-07", shown=first)
    settled(workplace)
    refused = workplace.shown.board.notice
    workplace.panels.missing("OP-07", shown=first)
    workplace.panels.skip(shown="")

    assert "A02 comes next now, not the place that the key was pressed at. Look, then press it again." in refused
    assert ("A02", "3 to do, 1 skipped") == (due(workplace), way_of(workplace).words)
    assert () == workplace.station.records.audit_entries(action=MISSING)
    assert [[], []] == [workplace.station.records.runs_of(f"{PANEL}-A0{number}") for number in (1, 2)]


def test_page_sends_with_each_key_the_place_that_it_shows(workplace: Workplace) -> None:
    """An old page, or one that sends no place, is refused; the page as it stands after a change is not."""
    with opened_browser() as browser, served(workplace) as address, browser.new_context(viewport=VIEW) as context:
        page = patient(context).new_page()
        page.goto(address)
        scan(page, "OP-07")
        expect(page.locator(".who")).to_contain_text("OP-07")
        scan(page, PANEL)
        expect(page.locator(".verdict .word")).to_have_text("A01")
        press(page, workplace, "F2", "A02")
        stale_forms: tuple[dict[str, str | float | bool], ...] = ({}, {"shown": f"{PANEL}-A01"})
        for form in stale_forms:
            page.request.post(f"{address}/panel/missing", form=form)
        stale = due(workplace)
        press(page, workplace, "F4", "A03")

    assert "A02" == stale
    assert [f"{PANEL}-A02"] == [each.subject for each in workplace.station.records.audit_entries(action=MISSING)]


def test_place_that_is_decided_is_neither_skipped_nor_missing(workplace: Workplace) -> None:
    """Gone to by two scans of its unit, refused as judged already: the keys lead on, what is on record stands."""
    first = f"{PANEL}-A01"
    workplace.scan(PANEL, "OP-07")
    here(workplace)
    for _ in range(2):
        workplace.scan(first, "OP-07")
        settled(workplace)
    workplace.panels.missing("OP-07", shown=first)
    states = [str(each.state) for each in way_of(workplace).places]

    assert ["pass", "to do", "to do", "to do"] == states
    assert "A02" == due(workplace)
    assert () == workplace.station.records.audit_entries(action=MISSING)


def test_place_is_given_up_while_its_unit_is_waited_for(tmp_path: Path) -> None:
    """Enter, then no unit lies there: the key ends the waiting, nothing is on record of the unit but the place."""
    with bench_with_a_person(tmp_path) as (workplace, _):
        workplace.scan(PANEL, "OP-07")
        workplace.panels.measure_here("OP-07", shown=at(workplace))
        wait_for(workplace, lambda: workplace.shown.board.action == f"Load {PANEL}-A01.")
        workplace.panels.missing("OP-07", shown=at(workplace))
        settled(workplace)
        notice, runs = workplace.shown.board.notice, workplace.station.records.runs_of(f"{PANEL}-A01")

        assert ("", [], "A02") == (notice, runs, due(workplace))


def test_units_with_codes_of_their_own_are_scanned(workplace: Workplace) -> None:
    """Enter alone proves nothing there: it asks for the unit's code, which is then taken at its place."""
    release(workplace, *SMALL, ("unit_labels = false", "unit_labels = true"))
    workplace.verify("OP-07")
    settled(workplace, verified=True)
    workplace.scan(PANEL, "OP-07")
    here(workplace)
    asked = workplace.shown.board.notice
    workplace.scan(f"{PANEL}-A01", "OP-07")
    settled(workplace)

    assert "Scan the code of the unit at place A01: on this part each unit has its own." == asked
    assert 1 == len(workplace.station.records.runs_of(f"{PANEL}-A01"))
    assert "A02" == due(workplace)


def test_panel_of_a_lot_that_is_held_is_not_taken_up(workplace: Workplace) -> None:
    """The refusal stands; nothing of the panel is shown as if it could be measured."""
    records, now = workplace.station.records, workplace.station.clock.utc_now()
    receive_lot(records, "L2641", 96, part="IS-20", who="OP-07", utc=now)
    hold_lot(records, "L2641", who="EN-02", why="bow of the panels", utc=now)
    workplace.scan(PANEL, "OP-07")

    assert workplace.shown.panel is None
    assert "bow of the panels" in workplace.shown.board.notice


def test_plan_that_does_not_know_its_panels_says_so(workplace: Workplace) -> None:
    """A panel's label is told as what it is, with what to do."""
    text = data_path("plans/IS-20.toml").read_text(encoding="utf-8")
    start, end = text.index("[panel]"), text.index("[coil]")
    release(workplace, (text[start:end], ""))
    workplace.scan(PANEL, "OP-07")

    assert "does not say where its units lie ([panel]). Scan a unit on it." in workplace.shown.board.notice
    assert workplace.shown.panel is None


def test_plans_that_come_with_the_station_know_their_panels() -> None:
    """Eight rows of twelve, without codes on the coils."""
    for name in ("IS-20", "IS-20-heating"):
        panel = read_plan(data_path(f"plans/{name}.toml")).panel

        assert panel is not None
        assert (8, 12, False) == (len(panel.rows), len(panel.columns), panel.unit_labels)
