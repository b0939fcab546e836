"""The plan's form in a browser: limits, bins and frequencies at once, risks in the replay, drafts and their marks."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Browser, expect
from starlette.testclient import TestClient

from station.app.workplace import Workplace
from station.core.frequency import frequency_words
from station.core.plan_draft import proposed_marks
from station.core.plan_file import parse_plan
from station.pages.application import make_application
from tests.pages.home_in_browser import DEADLINE_MS, home_with_lot, looked_at, signed_in
from tests.pages.station_in_browser import opened_browser

pytestmark = pytest.mark.slow
HOME = "http://localhost"
VALUES = tuple(float(each) for each in np.random.default_rng(7).normal(8.4, 0.3, 120))


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all."""
    with opened_browser() as found:
        yield found


@pytest.fixture
def station(tmp_path: Path) -> Iterator[tuple[Workplace, str]]:
    """A lot of 120 units."""
    with home_with_lot(tmp_path, VALUES) as found:
        yield found


def engineer(workplace: Workplace) -> TestClient:
    """Return a client on which an engineer is signed in."""
    found = TestClient(make_application(workplace), base_url=HOME, headers={"origin": HOME})
    found.post("/sign-in", data={"badge": "EN-02"})
    return found


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_limit_bin_and_frequency_are_changed_at_once_by_keyboard(
    browser: Browser, station: tuple[Workplace, str], scheme: str
) -> None:
    """One replay shows bins, units that change sides and risks; the release has all three changes."""
    workplace, address = station
    with signed_in(browser, address, scheme=scheme) as page:
        page.goto(address + "plans/IS-20/edit")
        for label, text in (
            ("upper limit of R20", "9.0 ohm"),
            ("needs of bin 3", "R20 [8.4 ohm, 9 ohm]"),
            ("frequency of inductance", "1 in 25 units"),
        ):
            page.get_by_label(label, exact=True).press("Control+A")
            page.keyboard.type(text)
        page.get_by_role("button", name="Show what this would do").press("Enter")
        page.wait_for_selector("#why")
        risks = page.locator("#risks tbody tr").first.all_inner_texts()[0]
        differing = page.locator(".differences .changed").count()
        findings = looked_at(page, "plan-form", scheme)
        page.get_by_label("Why this revision").fill("less current")
        page.get_by_role("button", name="Release revision 2").press("Enter")
        page.wait_for_url("**/plans")
    plan = parse_plan(workplace.station.records.released_plans()[-1].source_text, "p")
    r20 = plan.characteristic("R20")

    assert [] == findings
    assert "120" in risks
    assert "%" in risks
    assert 3 == differing
    assert r20 is not None
    assert 9.0 == r20.upper
    assert "1 in 25 units" == frequency_words(plan.steps[2].frequency)


def test_draft_from_a_lot_is_accepted_number_by_number(browser: Browser, station: tuple[Workplace, str]) -> None:
    """It can't be released while a number is only proposed; the text says who accepted each."""
    workplace, address = station
    with signed_in(browser, address) as page:
        page.goto(address + "plans")
        page.get_by_role("button", name="Propose limits").press("Enter")
        page.wait_for_selector(".marks")
        findings = looked_at(page, "plan-draft", "light")
        page.get_by_role("button", name="Show what this would do").press("Enter")
        expect(page.locator(".caution").first).to_contain_text("only proposed", timeout=DEADLINE_MS)
        assert 0 == page.get_by_role("button", name="Release revision 2").count()
        for box in page.locator(".marks input").all():
            box.press("Space")
        page.get_by_role("button", name="Accept the ticked numbers").press("Enter")
        expect(page.locator(".marks")).to_have_count(0, timeout=DEADLINE_MS)
        page.get_by_role("button", name="Show what this would do").press("Enter")
        page.get_by_label("Why this revision").fill("from the first panel")
        page.get_by_role("button", name="Release revision 2").press("Enter")
        page.wait_for_url("**/plans")
    text = workplace.station.records.released_plans()[-1].source_text

    assert [] == findings
    assert () == proposed_marks(text)
    assert "# accepted by EN-02" in text


def test_proposed_text_sent_by_hand_is_not_released(station: tuple[Workplace, str]) -> None:
    """Past the form: the station refuses, naming the lines; nothing is on record."""
    workplace, _ = station
    text = workplace.station.records.released_plans()[-1].source_text
    marked = text.replace('upper = "9.2 ohm"', 'upper = "9.1 ohm"  # proposed: a guess')
    marked = marked.replace("8.4 ohm, 9.2 ohm]", "8.4 ohm, 9.1 ohm]")
    answer = engineer(workplace).post("/plans/release", data={"text": marked, "why": "a try"})

    assert 400 == answer.status_code
    assert "is only proposed" in answer.text
    assert 1 == len(workplace.station.records.released_plans(every_revision=True))


def test_text_goes_in_and_out_without_loss(station: tuple[Workplace, str]) -> None:
    """Imported, released, exported: byte for byte, comments, signs and the end of the file included."""
    workplace, _ = station
    text = workplace.station.records.released_plans()[-1].source_text
    own = text.replace('title = "', 'title = "µ Ω <b> & ') + "\n\n# the last line, without an end"
    client = engineer(workplace)
    shown = client.post("/plans/draft", data={"text": own.replace("\n", "\r\n")})
    released = client.post("/plans/release", data={"text": own.replace("\n", "\r\n"), "why": "import"})

    assert (200, 200) == (shown.status_code, released.status_code)
    assert own.encode() == client.get("/plans/IS-20/2/text").content


def test_file_is_read_into_the_field(browser: Browser, station: tuple[Workplace, str], tmp_path: Path) -> None:
    """Chosen, looked at, checked: nothing was sent before."""
    workplace, address = station
    text = workplace.station.records.released_plans()[-1].source_text.replace('title = "', 'title = "µ ')
    file = tmp_path / "own.toml"
    file.write_text(text, encoding="utf-8")
    with signed_in(browser, address) as page:
        page.goto(address + "plans")
        page.get_by_label("A file").set_input_files(file)
        expect(page.get_by_label("Its text (TOML)")).to_have_value(text, timeout=DEADLINE_MS)
        findings = looked_at(page, "plan-import", "light")
        page.get_by_role("button", name="Check it").press("Enter")
        expect(page.locator("h1")).to_contain_text("for revision 2", timeout=DEADLINE_MS)

    assert [] == findings


def test_form_with_mistakes_keeps_what_was_typed(station: tuple[Workplace, str]) -> None:
    """A gap between bins: told, and the form shows what was sent."""
    workplace, _ = station
    text = workplace.station.records.released_plans()[-1].source_text
    fields = {"text": text, "bin:0:number": "1", "bin:0:name": "low", "bin:0:takes": "PASS"}
    fields["bin:0:needs"] = "R20 [7 ohm"
    answer = engineer(workplace).post("/plans/replay", data=fields | {"frequency:2": "seldom"})

    assert 400 == answer.status_code
    assert 'value="seldom"' in answer.text
    assert 'value="R20 [7 ohm"' in answer.text


def test_text_edited_in_the_page_is_not_put_back_by_the_form(
    browser: Browser, station: tuple[Workplace, str]
) -> None:
    """Another title in the text, another limit in the form: both are in the outcome."""
    _, address = station
    with signed_in(browser, address) as page:
        page.goto(address + "plans/IS-20/edit")
        page.locator("summary", has_text="The whole text").click()
        field = page.locator("#text")
        field.fill(field.input_value().replace('upper = "12.0 uH"', 'upper = "12.1 uH"'))
        page.get_by_label("lower limit of R20").fill("6.9 ohm")
        page.get_by_label("needs of bin 1").fill("R20 [6.9 ohm, 7.6 ohm)")
        page.get_by_role("button", name="Show what this would do").press("Enter")
        page.wait_for_selector("#why")
        shown = [page.get_by_label(each).input_value() for each in ("upper limit of L", "lower limit of R20")]

    assert ["12.1 uH", "6.9 ohm"] == shown


def test_copy_for_another_part_marks_every_number(station: tuple[Workplace, str]) -> None:
    """From a revision's page."""
    workplace, _ = station
    answer = engineer(workplace).post("/plans/IS-20/1/draft", data={"new_part": "IS-21"})

    assert "lines are proposed" in answer.text
    assert "as in IS-20 revision 1" in answer.text


def test_first_release_of_a_part_says_that_there_is_nothing_to_replay(station: tuple[Workplace, str]) -> None:
    """Units of another part are no units of this one: words instead of tables of zeros; it can be released."""
    workplace, _ = station
    newest = workplace.station.records.released_plans()[-1].source_text
    answer = engineer(workplace).post(
        "/plans/replay", data={"text": newest.replace('part = "IS-20"', 'part = "IS-21"'), "lot": "L2641"}
    )

    assert 200 == answer.status_code
    assert "The first revision of IS-21" in answer.text
    assert "No unit of L2641 is of IS-21" in answer.text
    assert "change sides" not in answer.text
    assert "Release revision 1" in answer.text


def test_limits_that_the_drawing_misses_are_told_before_the_release_and_not_refused(
    station: tuple[Workplace, str],
) -> None:
    """14 turns a layer under the limits of 20: the page says which, and still offers the release."""
    workplace, _ = station
    newest = workplace.station.records.released_plans()[-1].source_text
    client = engineer(workplace)
    sound = client.get("/plans/IS-20/edit")
    thin = newest.replace("turns_per_layer = 20", "turns_per_layer = 14")
    answer = client.post("/plans/replay", data={"text": thin, "lot": "L2641"})

    assert "Look at this before you release" not in sound.text
    assert "R20 of the drawing should read" in answer.text
    assert "Release revision 2" in answer.text
