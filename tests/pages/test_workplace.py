"""A workplace without a browser: what is asked, what is told, whatever goes wrong."""

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from drivers.links.open import open_link
from sim.bench import SOURCE
from sim.faults import Fault, FaultKind
from station.app.files import read_plan
from station.app.hands import SimulatedHands
from station.app.lot_life import hold_lot, receive_lot
from station.app.setting_up import open_simulated
from station.app.simulated import Simulation, in_memory, served, write_bench_file
from station.app.sorting import place_by_hand
from station.app.station import Station
from station.app.trays_on_record import IN_USE, resumed_words, trays_on_record
from station.app.workplace import Workplace
from station.core.board import Phase
from station.core.places import TrayInUse
from station.core.plan_file import parse_plan
from station.core.results import Decision
from station.core.run_record import Purpose
from station.data import data_path
from station.heat_memory import HeatOnDisk, HotMark
from station.inspection import Inspection
from station.pages.application import make_application
from station.records import Records
from station.records.placings import placing_of
from station.stop import NestStop
from tests.pages.station_in_browser import held_at, settled, wait_for, workplace_on
from tests.records.makers import START, make_opened, make_record

pytestmark = pytest.mark.slow
OFFS_AT_OPENING = 2
"""Orders `OUTP 0` that opening the bench sends before a run sends its own."""
FIRST, SECOND = "L2641-01-A01", "L2641-01-A02"


@pytest.fixture
def workplace(tmp_path: Path) -> Iterator[Workplace]:
    """A simulated bench whose operator loads by itself."""
    with workplace_on(tmp_path) as found:
        yield found


@contextmanager
def bench_with_a_person(home: Path) -> Iterator[tuple[Workplace, SimulatedHands]]:
    """A bench without stage whose units are loaded by somebody who reads the page: the hands are given."""
    simulation = Simulation(references=Station.shipped_references("IS-20"), has_stage=False, speed=100.0)
    with Station.open(home) as station, served(simulation) as (setup, _, _):
        plan = read_plan(data_path("plans/IS-20.toml"))
        station.records.release_plan(plan, who="EN-02", why="tests", utc=station.clock.utc_now())
        link = open_link(setup.operator_address, name="a person", via="auto", stop=station.stop)
        hands = SimulatedHands(link)
        with Workplace(station, where="a test") as found:
            found.open(replace(setup, operator_address=""))
            yield found, hands
        hands.close()


def test_person_is_told_to_load_and_asked_for_each_spacer(tmp_path: Path) -> None:
    """Without stage and without simulated hands: load when told, place each spacer, confirm it; then it is decided."""
    asked: list[str] = []
    with bench_with_a_person(tmp_path) as (workplace, hands):
        workplace.scan(FIRST, "OP-07")
        wait_for(workplace, lambda: workplace.shown.board.action == f"Load {FIRST}.")
        hands.load(FIRST)
        while True:
            wait_for(workplace, lambda: bool(workplace.shown.confirm) or not workplace.busy)
            if not workplace.shown.confirm:
                break
            asked.append(workplace.shown.confirm)
            hands.place_spacer(float(asked[-1].split()[2]) * 1e-3)
            workplace.confirm()
            wait_for(workplace, lambda: workplace.shown.confirm != asked[-1] or not workplace.busy)
        decided = workplace.shown.board.decided

    assert {f"Place the {each} mm spacer." for each in (1, 2, 4, 8)} == set(asked)
    assert decided is not None
    assert ("not_verified", FIRST) == (decided.reason.code if decided.reason else "", decided.serial)


@pytest.mark.parametrize("what", ["lot", "unit"])
def test_what_is_held_while_its_unit_is_waited_for_is_not_measured(tmp_path: Path, what: str) -> None:
    """Loading may take minutes: the engineer's word in between counts. No run is on record, the next scan is taken."""
    with bench_with_a_person(tmp_path) as (workplace, hands):
        records, now = workplace.station.records, workplace.station.clock.utc_now()
        opened = make_opened(FIRST, purpose=Purpose.STUDY)
        records.open_run(opened)
        workplace.scan(FIRST, "OP-07")
        wait_for(workplace, lambda: workplace.shown.board.action == f"Load {FIRST}.")
        if what == "lot":
            hold_lot(records, "L2641", who="EN-02", why="bow of the panels", utc=now)
        else:
            records.hold(FIRST, reason_code="odd", who="EN-02", why="bow of the panels", utc=now)
        hands.load(FIRST)
        settled(workplace)
        notice, runs = workplace.shown.board.notice, records.runs_of(FIRST)

    assert "held" in notice
    assert [opened.run_id] == [each.run_id for each in runs]


def test_unit_that_is_never_loaded_can_be_given_up(tmp_path: Path) -> None:
    """Scanned the wrong one: Stop drive ends the waiting, nothing is on record, the next scan is taken."""
    with bench_with_a_person(tmp_path) as (workplace, _):
        workplace.scan(FIRST, "OP-07")
        wait_for(workplace, lambda: workplace.shown.board.action == f"Load {FIRST}.")
        workplace.request_stop("OP-07")
        settled(workplace)
        notice = workplace.shown.board.notice
        workplace.scan(SECOND, "OP-07")
        wait_for(workplace, lambda: workplace.shown.board.action == f"Load {SECOND}.")
        workplace.request_stop("OP-07")
        settled(workplace)
        runs = workplace.station.records.runs_of(FIRST)

    assert "Nothing was measured" in notice
    assert [] == runs


@pytest.mark.parametrize(
    ("scan", "words"),
    [
        (f"{FIRST}{SECOND}", "two scans have run together"),
        ("L2642-01", "panel L2642-01 is of lot L2642, but this is lot L2641"),
        ("4006381333931", "is no serial of IS-20"),
        ("L9999-01-A01", "is of lot L9999, but this is lot L2641"),
        ("l2641-01-a01", "its letters are in lower case"),
        ("x" * 4000, "characters; at most 128 are read"),
    ],
)
def test_wrong_scan_is_told_what_it_is(workplace: Workplace, scan: str, words: str) -> None:
    """Too long, a panel, a foreign code, another lot, another keyboard: each in its own words, nothing is run."""
    workplace.set_lot("L2641")
    workplace.scan(scan, "OP-07")
    settled(workplace)

    assert words in workplace.shown.board.notice
    assert Phase.READY is workplace.shown.board.phase


def test_judged_unit_is_not_measured_twice_by_slip(workplace: Workplace) -> None:
    """A repeated scan says what the unit is and where it goes."""
    workplace.verify("OP-07")
    settled(workplace, verified=True)
    for _ in range(2):
        workplace.scan(FIRST, "OP-07")
        settled(workplace)

    assert "is judged already: PASS, bin" in workplace.shown.board.notice
    assert 1 == len(workplace.station.records.runs_of(FIRST))


def test_board_says_how_far_the_lot_is_and_under_which_revision(workplace: Workplace) -> None:
    """Decided so far of what came with the lot; the plan's revision, anew when another is released."""
    records, now = workplace.station.records, workplace.station.clock.utc_now()
    receive_lot(records, "L2641", part="IS-20", quantity=2_650, who="OP-07", utc=now)
    workplace.verify("OP-07")
    settled(workplace, verified=True)
    workplace.set_lot("L2641")
    before = workplace.shown.lot_decided
    workplace.scan(FIRST, "OP-07")
    settled(workplace)
    wait_for(workplace, lambda: workplace.shown.lot_decided == 1)
    text = data_path("plans/IS-20.toml").read_text(encoding="utf-8").replace('title = "Iris', 'title = "The iris')
    first = workplace.shown.revision
    records.release_plan(parse_plan(text, "p.toml"), who="EN-02", why="tests", utc=now)
    workplace.plans_changed()

    assert (0, 2_650) == (before, workplace.shown.lot_received)
    assert (1, 2) == (first, workplace.shown.revision)


def test_lot_is_not_changed_during_a_run(workplace: Workplace) -> None:
    """A traveller scanned mid-run is refused, and the run keeps its lot."""
    workplace.set_lot("L2641")
    with held_at(workplace, "inductance"):
        workplace.scan(FIRST, "OP-07")
        wait_for(workplace, lambda: workplace.shown.board.method == "inductance")
        workplace.set_lot("L2642")
        notice, lot = workplace.shown.board.notice, workplace.shown.lot
    settled(workplace)

    assert "L2641" == lot
    assert "was not taken up" in notice


def test_scan_without_a_bench_says_so(tmp_path: Path) -> None:
    """No bench is taken by default."""
    with workplace_on(tmp_path, bench=False) as workplace:
        workplace.scan(FIRST, "OP-07")

        assert "No bench is open" in workplace.shown.board.notice


def test_counts_survive_a_restart(tmp_path: Path) -> None:
    """The shift's counters come from the records: the same badge goes on, another one begins at nought."""
    with workplace_on(tmp_path) as workplace:
        workplace.begin_shift("OP-07")
        for each in (FIRST, SECOND):
            workplace.scan(each, "OP-07")
            settled(workplace)
    with Station.open(tmp_path) as station, Workplace(station, where="a test") as again:
        again.simulate(Simulation(references=Station.shipped_references("IS-20"), speed=100.0))
        again.begin_shift("OP-07")
        same = again.shown.counters.done
        again.begin_shift("OP-08")
        other = again.shown.counters.done

    assert (2, 0) == (same, other)


def test_bench_that_is_not_there_is_shown_as_trouble(tmp_path: Path) -> None:
    """A bench whose instruments are off: the pages stay, and say what to look at."""
    simulation = Simulation(references=Station.shipped_references("IS-20"), speed=100.0)
    with served(simulation) as (setup, _, _):
        gone = setup
    with Station.open(tmp_path) as station, Workplace(station, where="a test") as workplace:
        workplace.open(gone)

        assert workplace.shown.bench is None
        assert "can't be reached" in workplace.shown.trouble or "source-1" in workplace.shown.trouble


def test_first_decision_without_verification_is_never_pass(workplace: Workplace) -> None:
    """A bench that is not verified passes nothing, and the board says what to do."""
    workplace.scan(FIRST, "OP-07")
    settled(workplace)
    decided = workplace.shown.board.decided

    assert decided is not None
    assert (Decision.INVALID, "Run the reference units, then scan again.") == (decided.decision, decided.next_action)


def test_latch_is_shown_stops_everything_and_is_cleared_with_a_reason(tmp_path: Path) -> None:
    """*Drive state unknown*: told at once, no run until an engineer says what was seen; that goes on record."""
    # The run's offs are lost, six times; then the source hears again.
    fault = Fault(SOURCE, FaultKind.COMMAND_LOST, nth=OFFS_AT_OPENING, matching="OUTP 0", times=6)
    with Station.open(tmp_path) as station, Workplace(station, where="a test") as workplace:
        plan = read_plan(data_path("plans/IS-20.toml"))
        station.records.release_plan(plan, who="EN-02", why="tests", utc=station.clock.utc_now())

        def inspecting(stop: NestStop) -> AbstractContextManager[Inspection]:
            place = in_memory(Simulation(faults=(fault,)), stop)
            return station.inspecting(
                place.setup, where="a test", hands=place.hands, links=place.links, clock=place.clock
            )

        workplace.open_with(inspecting)
        workplace.scan(FIRST, "OP-07")
        settled(workplace)
        latched, decided = workplace.shown.board.latched, workplace.shown.board.decided
        workplace.scan(SECOND, "OP-07")
        settled(workplace)
        refused = workplace.shown.board.notice
        workplace.clear_latch(who="EN-02", why="the source shows OFF")
        settled(workplace)
        cleared = workplace.shown.board.latched
        workplace.scan(SECOND, "OP-07")
        settled(workplace)
        entries = [(each.who, each.action, each.why) for each in station.records.audit_entries()]

    assert "the drive could not be verified as off" in latched
    assert decided is not None
    assert decided.next_action.startswith("Do not touch the coil.")
    assert "drive state unknown" in refused
    assert "" == cleared
    assert ("EN-02", "latch cleared", "the source shows OFF") in entries


def test_nest_that_was_left_hot_is_shown_and_released(tmp_path: Path) -> None:
    """After a restart: the caution with its time, a scan is told why it has to wait, then the nest is released."""
    touch_degc = 25.0  # the nest reads 23 degC: cool by the thermometer, which is not to be trusted
    until = datetime.now(UTC) + timedelta(days=1)
    heat = HeatOnDisk(tmp_path, "bench-1", "A")
    heat.mark_hot(HotMark(touch_degc, until))
    with workplace_on(tmp_path) as workplace:
        wait_for(workplace, lambda: workplace.busy)
        workplace.scan(FIRST, "OP-07")
        hot, notice = workplace.shown.board.hot, workplace.shown.board.notice
        heat.mark_hot(HotMark(touch_degc, until, trusted=True))
        workplace.request_stop("OP-07")
        wait_for(workplace, lambda: workplace.shown.board.hot is None)
        settled(workplace)
        workplace.scan(FIRST, "OP-07")
        settled(workplace)
        runs = workplace.station.records.runs_of(FIRST)

    assert hot is not None
    assert (touch_degc, until, False) == (hot.touch_limit_degc, hot.cool_by_utc, hot.driven)
    assert "was NOT taken: the nest is hot" in notice
    assert 1 == len(runs)


@pytest.mark.parametrize(("name", "methods"), [("IS-20", "field"), ("IS-20-heating", "heating")])
def test_empty_home_can_begin_with_either_invented_plan(tmp_path: Path, name: str, methods: str) -> None:
    """R, L and field, or self-heating; what is none of them is refused, and nothing is released."""
    with workplace_on(tmp_path, bench=False) as workplace:
        refused = open_simulated(workplace, who="EN-02", plan_name="../secrets")
        before = workplace.station.records.released_plans()
        trouble = open_simulated(workplace, who="EN-02", speed=100.0, plan_name=name)
        plan = workplace.shown.plan

    assert "There is no invented plan '../secrets'" in refused
    assert ((), "") == (before, trouble)
    assert plan is not None
    assert methods in [each.method for each in plan.steps]


def test_bench_is_opened_again_after_a_repair(tmp_path: Path) -> None:
    """From the pages, by whoever is signed in; a bench file that is wrong is told, and nothing is lost."""
    home = "http://localhost"
    simulation = Simulation(references=Station.shipped_references("IS-20"), speed=100.0)
    with Station.open(tmp_path) as station, served(simulation) as (setup, _, _):
        file = tmp_path / "bench.toml"
        plan = read_plan(data_path("plans/IS-20.toml"))
        station.records.release_plan(plan, who="EN-02", why="tests", utc=station.clock.utc_now())
        with Workplace(station, where="a test") as workplace:
            application = make_application(workplace, bench_file=file)
            client = TestClient(application, base_url=home, headers={"origin": home}, follow_redirects=False)
            missing = client.post("/open")
            write_bench_file(setup, file)
            opened = client.post("/open")
            first = workplace.shown.bench
            nobody = client.post("/open")
            client.post("/scan", data={"scan": "OP-07"})
            again = client.post("/open")
            workplace.scan(FIRST, "OP-07")
            settled(workplace)
            decided, notice = workplace.shown.board.decided, workplace.shown.board.notice

    assert (400, 303, 403, 303) == tuple(each.status_code for each in (missing, opened, nobody, again))
    assert first is not None
    assert decided is not None, notice


def test_tray_in_use_is_known_again_after_a_restart(workplace: Workplace) -> None:
    """The next start of the station says which, how full it is, and goes on behind the last pocket."""
    records, station = workplace.station.records, workplace.station
    workplace.verify("OP-07")
    settled(workplace, verified=True)
    workplace.scan("T7", "OP-07")
    workplace.scan("2=T8", "OP-07")
    record_passed(records, "L2640-01-A01", "T7")
    workplace.close()
    with Workplace(station, where="a restart") as again:
        again.simulate(Simulation(references=Station.shipped_references("IS-20"), speed=100.0))
        wait_for(again, lambda: "Tray" in again.shown.board.action)
        said, in_use, bench = again.shown.board.action, again.sorting.in_use, again.shown.bench
    assert bench is not None
    text = data_path("plans/IS-20.toml").read_text(encoding="utf-8") + "\n[trays]\npockets = 96\n"
    with_trays = resumed_words(trays_on_record(records, bench), [parse_plan(text, "p.toml")])

    assert with_trays.startswith("Tray T7 is in use for units that pass, 1 of 96.")
    assert said.startswith("Tray T7 is in use for units that pass, 1 unit in it.")
    assert "Tray T8 was in use and is empty now: scan the label of the tray that stands here." in said
    assert (TrayInUse("T7"),) == in_use
    assert ["OP-07", "OP-07"] == [each.who for each in records.audit_entries(action=IN_USE)]


def record_passed(records: Records, serial: str, tray: str) -> None:
    """A unit that passed and lies in a tray."""
    opened = make_opened(serial, lot="L2640")
    records.open_run(opened)
    records.close_run(make_record(opened, decision=Decision.PASS))
    place_by_hand(records, serial, tray, None, who="OP-07", why="by hand", utc=START)


def test_scanned_tray_takes_the_units_that_pass(workplace: Workplace) -> None:
    """The next action names tray and pocket, and so does the record."""
    workplace.verify("OP-07")
    settled(workplace, verified=True)
    workplace.scan("T7", "OP-07")
    said = workplace.shown.board.action
    workplace.scan(FIRST, "OP-07")
    settled(workplace)
    placing = placing_of(workplace.station.records, FIRST)

    assert "Tray T7 takes units that pass." == said
    assert ", tray T7, pocket 1." in workplace.shown.board.action
    assert placing is not None
    assert ("T7", 1) == (placing.tray, placing.pocket)
