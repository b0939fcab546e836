"""A gauge study guided by the operator's page: begun by an engineer, scanned by appraisers, no reading on any page."""

from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from station.app.study_begin import StudyWanted
from station.app.study_records import study
from station.app.workplace import Workplace
from station.errors import NestBusy, StationError
from tests.end_to_end.guided import APPRAISERS, digits_in, runs_of
from tests.pages.station_in_browser import (
    DEADLINE_S,
    SCREENSHOTS,
    VIEW,
    opened_browser,
    patient,
    scan,
    served,
    wait_for,
    workplace_on,
)

pytestmark = pytest.mark.slow
UNITS = ("L2641-02-A05", "L2641-02-B10", "L2641-02-F06")
WANTED = StudyWanted(UNITS, APPRAISERS, method="resistance", trials=2, seed=3)
DEADLINE_MS = DEADLINE_S * 1e3


@pytest.fixture
def workplace(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workplace]:
    """A simulated bench whose operator loads by itself; it is not verified."""
    with workplace_on(tmp_path_factory.mktemp("home")) as found:
        yield found


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all."""
    with opened_browser() as found:
        yield found


def at_rest(workplace: Workplace) -> None:
    """Wait until nothing is under way, and what is next is shown."""
    wait_for(workplace, lambda: not workplace.busy and not workplace.shown.board.busy)


def take(workplace: Workplace, badge: str) -> str:
    """Scan the next unit of a badge and wait until it is measured; return its serial."""
    turn = workplace.shown.study
    assert turn is not None
    step = turn.state.next_step(badge)
    assert step is not None
    workplace.scan(step.part, badge)
    at_rest(workplace)
    return step.part


def taken(workplace: Workplace, name: str) -> int:
    """Return how many readings are on record."""
    return len(study(workplace.station.records, name).taken)


def test_study_goes_step_by_step_and_ends_with_an_empty_nest(workplace: Workplace) -> None:
    """Every appraiser takes every unit twice; then production goes on."""
    records = workplace.station.records
    state = workplace.studies.begin(WANTED)
    for badge in APPRAISERS:
        workplace.studies.badge(badge)
        for _ in range(6):
            take(workplace, badge)
    done = study(records, state.setup.name)
    words = workplace.shown.board.action
    workplace.scan(UNITS[0], "OP-07")
    at_rest(workplace)
    decided = workplace.shown.board.decided

    assert done.complete
    assert [each.appraiser for each in done.steps] == [each.opened.operator for each in runs_of(records, done)]
    assert f"Study {state.setup.name} has all its readings" in words
    assert workplace.shown.study is None
    assert decided is not None
    assert UNITS[0] == decided.serial


def test_wrong_unit_and_wrong_badge_are_refused_and_nothing_is_measured(workplace: Workplace) -> None:
    """A unit that is not next, a badge that takes no part, a unit by somebody else."""
    state = workplace.studies.begin(WANTED)
    name = state.setup.name
    first = state.next_step("OP-07")
    assert first is not None
    notices = []
    other = next(each for each in UNITS if each != first.part)
    for text, badge in ((other, "OP-07"), (first.part, "OP-55"), ("L2641-02", "OP-07")):
        workplace.scan(text, badge)
        notices.append(workplace.shown.board.notice)
    workplace.studies.badge("OP-55")
    notices.append(workplace.shown.board.notice)
    at_rest(workplace)

    assert "another unit of this study" in notices[0]
    assert "OP-55 takes no part" in notices[1]
    assert "no unit of this study" in notices[2]
    assert "OP-55 takes no part" in notices[3]
    assert 0 == taken(workplace, name)
    assert [] == [run for each in UNITS for run in workplace.station.records.runs_of(each)]


def test_badge_scanned_while_a_unit_is_measured_has_the_next_turn(workplace: Workplace) -> None:
    """Whoever comes next scans while the last unit is still in: the reading stays its own appraiser's."""
    state = workplace.studies.begin(WANTED)
    step = state.next_step("OP-07")
    assert step is not None

    def hand_over() -> None:
        if workplace.shown.board.method == "resistance" and not handed:
            handed.append("OP-09")
            workplace.studies.badge("OP-09")

    handed: list[str] = []
    unsubscribe = workplace.subscribe(hand_over)
    workplace.scan(step.part, "OP-07")
    at_rest(workplace)
    unsubscribe()
    turn = workplace.shown.study
    found = study(workplace.station.records, state.setup.name)

    assert turn is not None
    assert ("OP-09", [step]) == (turn.appraiser, list(found.taken))


def test_study_can_be_left_and_taken_up_again(workplace: Workplace) -> None:
    """What is taken stays; another study can't be taken up that is finished or unknown; production goes on between."""
    name = workplace.studies.begin(WANTED).setup.name
    workplace.studies.badge("OP-09")
    take(workplace, "OP-09")
    workplace.studies.leave()
    workplace.scan("L2641-02-C01", "OP-07")
    at_rest(workplace)
    between = workplace.shown.board.decided
    workplace.studies.take_up(name)
    with pytest.raises(StationError, match="not on record"):
        workplace.studies.take_up("G0099")
    take(workplace, "OP-09")

    assert between is not None
    assert "L2641-02-C01" == between.serial
    assert workplace.shown.board.decided is None
    assert 2 == taken(workplace, name)


def test_study_is_not_left_nor_scanned_for_while_a_unit_is_measured(workplace: Workplace) -> None:
    """A scan in the middle of a run is refused aloud, never queued."""
    state = workplace.studies.begin(WANTED)
    step = state.next_step("OP-07")
    assert step is not None
    refusals: list[str] = []

    def meddle() -> None:
        if workplace.shown.board.method == "resistance" and not refusals:
            refusals.append("")
            workplace.scan(step.part, "OP-07")
            refusals.append(workplace.shown.board.notice)
            with pytest.raises(NestBusy):
                workplace.studies.leave()

    unsubscribe = workplace.subscribe(meddle)
    workplace.scan(step.part, "OP-07")
    at_rest(workplace)
    unsubscribe()

    assert "was NOT taken" in refusals[1]
    assert 1 == taken(workplace, state.setup.name)


def test_no_result_reaches_what_is_shown(workplace: Workplace) -> None:
    """Not at any moment of a run: neither results nor single readings, no decision, no bin."""
    state = workplace.studies.begin(WANTED)
    seen: list[str] = []
    unsubscribe = workplace.subscribe(lambda: seen.append(_public(workplace)))
    for _ in range(3):
        take(workplace, "OP-07")
    unsubscribe()
    values = [
        each.value
        for run in runs_of(workplace.station.records, study(workplace.station.records, state.setup.name))
        for each in run.results
        if each.value is not None
    ]

    assert 3 <= len(values)
    assert len(seen) > 6
    assert {"([], [], [], None)"} == {each.partition("|")[0] for each in seen}
    assert [] == [found for each in seen for found in digits_in(each.partition("|")[2], values)]


def _public(workplace: Workplace) -> str:
    board = workplace.shown.board
    held = (list(board.results), list(board.readings), list(board.curve), board.decided)
    return f"{held}|{board.action} {board.notice}"


def test_stop_in_a_study_leaves_no_reading_and_the_step_is_next_again(workplace: Workplace) -> None:
    """The drive goes off, the run is on record as no reading, and the same unit is asked for."""
    state = workplace.studies.begin(WANTED)
    step = state.next_step("OP-07")
    assert step is not None

    def stop() -> None:
        if workplace.shown.board.method == "resistance":
            workplace.request_stop("a test")

    unsubscribe = workplace.subscribe(stop)
    workplace.scan(step.part, "OP-07")
    at_rest(workplace)
    unsubscribe()
    wait_for(workplace, lambda: bool(workplace.shown.board.notice))
    found = study(workplace.station.records, state.setup.name)

    assert ([], ["stopped"]) == (list(found.taken), [each.code for each in found.not_taken])
    assert "Stopped" in workplace.shown.board.notice
    assert step == found.next_step("OP-07")
    assert workplace.shown.study is not None


def test_engineer_begins_and_appraisers_scan_in_the_browser(workplace: Workplace, browser: Browser) -> None:
    """From the form to the last reading by keyboard and scanner alone; the page says who and which unit is next."""
    with served(workplace) as address, browser.new_context(viewport=VIEW) as context:
        page = patient(context).new_page()
        page.goto(address)
        scan(page, "EN-02")
        expect(page.locator(".who")).to_contain_text("EN-02", timeout=DEADLINE_MS)
        page.goto(address + "gauge")
        page.locator("#units").fill("\n".join(UNITS[:2]))
        page.locator("#appraisers").fill(" ".join(APPRAISERS))
        page.locator("#method").select_option("resistance")
        page.locator("#trials").fill("2")
        page.locator("#why").fill("new probes")
        page.get_by_role("button", name="Begin on bench").click()
        expect(page.locator(".next")).to_contain_text("Scan your badge: OP-07 or OP-09", timeout=DEADLINE_MS)
        page.wait_for_load_state("load")  # from then on the page takes scans
        for badge in APPRAISERS:
            scan(page, badge)
            expect(page.locator(".who")).to_contain_text(badge, timeout=DEADLINE_MS)
            for number in range(1, 5):
                _take_in_browser(page, badge, number)
        expect(page.locator(".next")).to_contain_text("has all its readings", timeout=DEADLINE_MS)
        state = study(workplace.station.records, "G0001")

    assert state.complete
    assert ("EN-02", "new probes") == (state.setup.who, state.setup.why)


def _take_in_browser(page: Page, badge: str, number: int) -> None:
    asked = page.locator(".next")
    expect(asked).to_contain_text(f"{badge}, {number} of 4", timeout=DEADLINE_MS)
    if number == 2:
        SCREENSHOTS.mkdir(exist_ok=True)
        page.screenshot(path=SCREENSHOTS / f"study-at-bench-{badge}.png", full_page=True)
        found = Axe().run(page).response["violations"]
        assert [] == [each["id"] for each in found if each["impact"] in ("serious", "critical")]
        page.set_viewport_size({"width": 512, "height": 300})  # 200 % zoom: WCAG 2.2, 1.4.4
        assert page.evaluate("document.documentElement.scrollWidth") <= 512
        page.set_viewport_size(VIEW)
    serial = (asked.text_content() or "").split(": ")[1].split()[0]
    scan(page, serial)
    if number < 4:
        expect(asked).to_contain_text(f"{badge}, {number + 1} of 4", timeout=DEADLINE_MS)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"units": "L2641-02-A05 nonsense", "appraisers": "OP-07"}, "no serial of IS-20"),
        ({"units": "L2641-02-A05 L2641-02-B10", "appraisers": "Jo"}, "must read like OP-07"),
        ({"units": "L2641-02-A05", "appraisers": "OP-07"}, "no good reference unit"),
        ({"units": "L2641-02-A05 L2641-02-B10", "appraisers": "OP-07", "trials": "two"}, "must be a whole number"),
    ],
)
def test_form_that_makes_no_study_says_what_would_be_right(
    workplace: Workplace, browser: Browser, fields: dict[str, str], words: str
) -> None:
    """A page with the words; nothing is on record."""
    with served(workplace) as address, browser.new_context(viewport=VIEW) as context:
        page = patient(context).new_page()
        page.goto(address)
        scan(page, "EN-02")
        expect(page.locator(".who")).to_contain_text("EN-02", timeout=DEADLINE_MS)
        page.goto(address + "gauge")
        for name, text in fields.items():
            page.locator(f"#{name}").fill(text)
        page.get_by_role("button", name="Begin on bench").click()
        expect(page.locator("main")).to_contain_text(words, timeout=DEADLINE_MS)

    assert workplace.shown.study is None
