"""An engineer tightens a limit: the replay names exactly the units that change sides, and the next run follows."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import expect
from starlette.testclient import TestClient

from station.app.demo import demo_serials
from station.app.judging_again import judge_lots_again
from station.app.workplace import Workplace
from station.core.plan_file import parse_plan
from station.core.results import Decision
from station.errors import RecordError
from station.pages.application import make_application
from tests.pages.station_in_browser import (
    DEADLINE_S,
    VIEW,
    opened_browser,
    patient,
    scan,
    served,
    settled,
    workplace_on,
)

pytestmark = pytest.mark.slow
UNITS = demo_serials(12)
DEADLINE_MS = DEADLINE_S * 1e3
NEW_UPPER_OHM = 8.4
HOME = "http://localhost"


@pytest.fixture
def workplace(tmp_path: Path) -> Iterator[Workplace]:
    """A verified bench and a dozen units on record."""
    with workplace_on(tmp_path) as found:
        found.verify("OP-07")
        settled(found, verified=True)
        for serial in UNITS:
            found.scan(serial, "OP-07")
            settled(found)
        yield found


def test_replay_names_the_units_that_change_sides_and_the_next_run_follows(workplace: Workplace) -> None:
    """From values and guard bands directly: PASS before, and R20 + U95 above the new limit."""
    records = workplace.station.records
    table = records.lot_values("L2641", "R20")
    direct = {
        serial
        for serial, decision, value, u95 in zip(
            table.serials, table.decisions, table.values, table.expanded_uncertainties, strict=True
        )
        if decision == Decision.PASS and value + u95 > NEW_UPPER_OHM
    }
    with opened_browser() as browser, served(workplace) as address, browser.new_context(viewport=VIEW) as context:
        page = patient(context).new_page()
        page.goto(address)
        scan(page, "EN-02")
        expect(page.locator(".who")).to_contain_text("EN-02", timeout=DEADLINE_MS)
        page.goto(address + "plans/IS-20/edit")
        page.get_by_label("upper limit of R20").fill("8.4 ohm")
        page.get_by_role("button", name="Show what this would do").press("Enter")
        page.wait_for_selector("#why")
        named = set(page.locator("#changed tbody th a").all_inner_texts())
        page.get_by_label("Why this revision").fill("the third bin is not wanted")
        page.get_by_role("button", name="Release revision 2").press("Enter")
        page.wait_for_url("**/plans")
    newest = records.released_plans()[-1]
    workplace.station.stop.clear()

    assert direct
    assert direct == named
    assert (2, "EN-02", "the third bin is not wanted") == (newest.revision, newest.who, newest.why)


def test_next_run_follows_the_new_revision(workplace: Workplace) -> None:
    """Released while the bench is open: the next unit is judged under it, without a restart."""
    records = workplace.station.records
    first = records.released_plans()[-1]
    text = first.source_text.replace('title = "', 'title = "New ')

    second = records.release_plan(
        parse_plan(text, "p"), who="EN-02", why="a name", utc=workplace.station.clock.utc_now()
    )
    workplace.scan("L2641-09-A01", "OP-07")
    settled(workplace)

    assert second.plan_hash == records.runs_of("L2641-09-A01")[-1].plan_hash


def test_judging_again_is_signed_and_erases_nothing(workplace: Workplace) -> None:
    """The lot's yield follows the later decisions; each first decision stays, with who and why beside it."""
    records, utc = workplace.station.records, workplace.station.clock.utc_now()
    first = records.released_plans()[-1]
    text = first.source_text.replace('upper = "9.2 ohm"', 'upper = "8.4 ohm"')
    second = parse_plan(text, "p")
    with pytest.raises(RecordError, match="only a released revision"):
        judge_lots_again(records, second, ["L2641"], who="EN-02", why="tighter", utc=utc)
    records.release_plan(second, who="EN-02", why="tighter", utc=utc)
    before = records.lot_summary("L2641")
    client = TestClient(make_application(workplace), base_url=HOME, headers={"origin": HOME})
    client.post("/scan", data={"scan": "EN-02"})
    answer = client.post("/plans/IS-20/2/judge", data={"lot": "L2641", "why": "tighter"})
    after = records.lot_summary("L2641")
    moved = [each for each in UNITS if records.later_decisions(records.runs_of(each)[-1].run_id)]
    found = records.later_decisions(records.runs_of(moved[0])[-1].run_id)[0]

    assert 200 == answer.status_code
    assert 0 < len(moved) == before.passed - after.passed == after.failed - before.failed
    assert ("EN-02", "tighter", Decision.FAIL) == (found.who, found.why, found.decision)
    assert Decision.PASS is records.run(found.run_id).decision
    assert records.check().sound
