"""A gauge study on the bench: orders, badges, hidden readings, runs that give none, and going on after a break."""

from dataclasses import replace
from pathlib import Path

import pytest

from drivers.stop import Stopped
from sim.bench import SOURCE
from sim.errors import BenchErrors
from sim.faults import Fault, FaultKind
from sim.lot import truth_near
from sim.truth import OPEN_OHM
from station.app.simulated import Simulation, reference_truth
from station.app.station import Station
from station.app.study_begin import StudyWanted, begin_study
from station.app.study_records import studies, study
from station.app.study_results import finished_study, in_readable_unit, words_of_repeats, write_study
from station.app.study_sitting import open_sitting
from station.core.results import Decision
from station.core.run_record import Purpose
from station.data import data_path
from station.errors import BenchError, RecordError, StationError
from station.inspection import REFERENCE_LOT, Request
from station.quality.gauge_crossed import crossed_study
from station.quality.study_file import crossed_readings, single_values
from tests.end_to_end.guided import APPRAISERS, NotingDesk, begin, digits_in, figures_of, runs_of, sit
from tests.end_to_end.shop import EVEN_NOISE, SEED, Shop

GOOD = Station.shipped_references("IS-20")[0]


def test_whole_study_has_a_reading_of_every_unit_by_every_appraiser(shop: Shop) -> None:
    """Each in the appraiser's own order, by the badge that was scanned, and near the truth; the nest is empty after."""
    with shop.opened() as opened:
        desk = NotingDesk()
        state = sit(opened, begin(opened), desk).state
        truths = {each.serial: each.resistance_20_ohm for each in opened.units}
        empty = not opened.bench.fixture.state().loaded
        (result,) = finished_study(shop.station.records, state).results
        runs = runs_of(shop.station.records, state)

    assert state.complete
    assert list(state.steps) == desk.asked
    assert [(each.appraiser, each.part) for each in state.steps] == [
        (each.opened.operator, each.opened.unit.serial) for each in runs
    ]
    assert {Purpose.STUDY} == {each.opened.purpose for each in runs}
    assert [truths[each] for each in state.setup.units] == pytest.approx(
        result.values.mean(axis=(1, 2)).tolist(), rel=5e-3
    )
    assert empty


def test_no_reading_is_told_before_the_end(shop: Shop) -> None:
    """Nothing that reaches the people holds the digits of a reading, a decision or a bin; the records hold them."""
    with shop.opened() as opened:
        desk = NotingDesk()
        state = sit(opened, begin(opened, method="inductance"), desk).state
        runs = runs_of(shop.station.records, state)
    said = "\n".join(desk.said)
    values = [each.value for run in runs for each in run.results if each.value is not None]

    assert len(values) >= len(state.steps)
    assert [] == digits_in(said, values)
    assert not any(each in said.lower() for each in ("pass", "fail", "bin ", "hold", "resultready"))
    assert "Load " in said


def test_results_of_an_unfinished_study_are_refused(shop: Shop) -> None:
    """Not even an engineer sees readings while somebody still measures."""
    with shop.opened() as opened:
        state = begin(opened)
        with pytest.raises(Stopped):
            sit(opened, state, NotingDesk(leave_at=5))
        state = study(shop.station.records, state.setup.name)

    assert 5 == len(state.taken)
    with pytest.raises(RecordError, match="5 of 12"):
        finished_study(shop.station.records, state)


def test_lot_figures_do_not_change_by_a_study(shop: Shop) -> None:
    """Summary, values, findings, export, positions, what is held, each unit's standing: the same before and after."""
    with shop.opened() as opened:
        for index in range(4):
            opened.measure(index)
        records, lot = shop.station.records, "L0000"
        verification = records.latest_verification("bench-1", "A")
        assert verification is not None
        before, counted = figures_of(records, lot), records.count_since(verification)
        state = sit(opened, begin(opened, units=4), NotingDesk()).state

        assert before == figures_of(records, lot)
        assert counted == records.count_since(verification)
        assert {Decision.INVALID} == {each.decision for each in runs_of(records, state)}


def test_wrong_unit_is_refused_aloud_and_nothing_is_measured_of_it(shop: Shop) -> None:
    """Another unit of the study, one of none, and nothing at all: each is refused, then the right one is taken."""
    with shop.opened() as opened:
        state = begin(opened)
        first = state.next_step("OP-07")
        assert first is not None
        other = next(each for each in state.setup.units if each != first.part)
        desk = NotingDesk(scans=(other, "L2699-01-A01", "  "))
        done = sit(opened, state, desk).state

    refusals = [each for each in desk.said if each.startswith("refused")]
    assert [first] * 4 == desk.asked[:4]
    words = ("another unit of this study", "no unit of this study", "the scan is empty")
    assert [True] * 3 == [said in refusal for said, refusal in zip(words, refusals, strict=True)]
    assert len(done.steps) == len(runs_of(shop.station.records, done))


def test_badge_of_somebody_else_or_no_badge_begins_nothing(shop: Shop) -> None:
    """A serial, a badge that takes no part, and one that has finished: each is refused, saying who is waited for."""
    with shop.opened() as opened:
        state = begin(opened)
        desk = NotingDesk(badges=("L0000-01-A01", "OP-55", "OP-07", "OP-07"))
        done = sit(opened, state, desk).state
    refusals = [each for each in desk.said if each.startswith("refused")]

    assert ["is no badge", "takes no part", "has taken all readings"] == [
        next(words for words in ("is no badge", "takes no part", "has taken all readings") if words in each)
        for each in refusals
    ]
    assert done.complete


def test_badge_scanned_for_a_unit_hands_over_and_each_reading_is_its_own_appraisers(shop: Shop) -> None:
    """OP-09 takes over in the middle; a badge of no part in the study does not. No order is disturbed."""
    with shop.opened() as opened:
        state = begin(opened)
        desk = NotingDesk(scans=("OP-55", "OP-09"))
        done = sit(opened, state, desk).state
        runs = runs_of(shop.station.records, done)
    own = {who: [each for each in done.steps if each.appraiser == who] for who in APPRAISERS}

    assert ["OP-07", "OP-07", "OP-09"] == [each.appraiser for each in desk.asked[:3]]
    assert "OP-55 takes no part" in next(each for each in desk.said if each.startswith("refused"))
    assert own["OP-09"] == desk.asked[2:8]
    assert own["OP-07"] == desk.asked[8:]
    assert [each.appraiser for each in done.steps] == [each.opened.operator for each in runs]


def test_run_that_gives_no_reading_is_repeated_with_its_remedy(shop: Shop) -> None:
    """A seat without contact: told with what to do, on record as no reading, and taken at the next seating."""
    poor = replace(truth_near(""), contact_start_ohm=OPEN_OHM, contact_cured_by_reseating=True)
    with shop.opened(units=shop.new_units(3, like=(poor,))) as opened:
        desk = NotingDesk()
        state = sit(opened, begin(opened), desk).state
        (result,) = finished_study(shop.station.records, state).results
    said = next(each for each in desk.said if each.startswith("Not measured"))

    assert ["contact_open"] == [each.code for each in state.not_taken]
    assert "a pad has no contact. Unload, look at the pads" in said
    assert (3, 2, 2) == result.values.shape
    assert "1 run gave no reading and was repeated (a pad has no contact: 1)" == words_of_repeats(state)


def test_unit_that_never_gives_a_reading_breaks_the_study_off_and_leaves_it_open(shop: Shop) -> None:
    """An open coil: as often as the plan allows, then a message that names it; what is taken stays taken."""
    broken = replace(truth_near(""), resistance_20_ohm=OPEN_OHM)
    with shop.opened(units=shop.new_units(3, like=(broken,))) as opened:
        state = begin(opened)
        with pytest.raises(StationError, match="gave no reading 3 times running"):
            sit(opened, state, NotingDesk())
        state = study(shop.station.records, state.setup.name)

    assert (False, 3, {"coil_open"}) == (
        state.complete,
        len(state.not_taken),
        {each.code for each in state.not_taken},
    )


@pytest.mark.parametrize("leave_at", [0, 1, 7, 11])
def test_broken_off_study_goes_on_where_it_was(shop: Shop, leave_at: int) -> None:
    """Nothing is measured twice and nothing is left out, in the order that it was begun with."""
    with shop.opened() as opened:
        state = begin(opened)
        first, second = NotingDesk(leave_at=leave_at), NotingDesk()
        with pytest.raises(Stopped):
            sit(opened, state, first)
        done = sit(opened, study(shop.station.records, state.setup.name), second).state

    assert list(done.steps) == first.asked + second.asked
    assert len(done.steps) == len(set(done.taken.values()))


def test_stop_in_a_run_leaves_no_reading_and_the_step_is_taken_again(shop: Shop) -> None:
    """The stopped run is on record as no reading; the drive is off; the study goes on with the same unit."""
    stop = shop.station.stop

    def hook() -> None:
        if armed and opened.inspection.bench.clock.monotonic() > armed[0]:
            armed.clear()
            stop.set("a test says so")

    armed: list[float] = []
    with shop.opened(hook=hook) as opened:
        state = begin(opened)

        def arm(count: int) -> None:
            if count == 4:
                armed.append(opened.inspection.bench.clock.monotonic() + 3.0)

        first, second = NotingDesk(before=arm), NotingDesk()
        with pytest.raises(Stopped):
            sit(opened, state, first)
        stop.clear()
        opened.place.clock.sleep(5.0)  # lets the operator's hands finish what they were told
        broken_off = study(shop.station.records, state.setup.name)
        done = sit(opened, broken_off, second).state

    assert (4, ["stopped"]) == (len(broken_off.taken), [each.code for each in broken_off.not_taken])
    assert first.asked[-1] == second.asked[0]
    assert done.complete
    assert not opened.sim.world.drive.on


def test_station_that_dies_between_run_and_reading_takes_the_step_again(tmp_path: Path) -> None:
    """The run is on record, but no reading of the study: after a restart its unit is asked for once more."""
    with Shop(tmp_path) as shop, shop.opened() as opened:
        units, state = opened.units, begin(opened)
        step = state.next_step("OP-07")
        assert step is not None
        sitting = open_sitting(shop.station.records, opened.inspection, state, NotingDesk().tell)
        assert sitting.measure(step) is None
        # What the sitting would do next is left out, as by a power cut: the run alone is closed.
        lost = sitting.state.next_step("OP-07")
        assert lost is not None
        unit = next(each for each in opened.units if each.serial == lost.part)
        run = opened.inspection.inspect(unit.serial, _study_request())
    with Station.open(tmp_path) as station:
        found = study(station.records, state.setup.name)
        run_ids = set(found.taken.values())

    assert [each.serial for each in units[:3]] == list(found.setup.units)
    assert (lost, 1) == (found.next_step("OP-07"), len(found.taken))
    assert run.opened.run_id not in run_ids


def test_drive_that_stays_on_ends_the_sitting_at_once(shop: Shop) -> None:
    """No further unit is asked for, the last is not asked out by hand, and the run is no reading."""
    fault = Fault(SOURCE, FaultKind.COMMAND_LOST, nth=2, matching="OUTP 0", times=0)
    with shop.opened(faults=(fault,)) as opened:
        desk, state = NotingDesk(), begin(opened, method="field")
        with pytest.raises(BenchError, match="could not be verified as off"):
            sit(opened, state, desk)
        state = study(shop.station.records, state.setup.name)

    assert (1, 0, ["drive_not_off"]) == (len(desk.asked), len(state.taken), [each.code for each in state.not_taken])
    assert "BenchLatched" in desk.said[-1]


def test_field_that_was_not_measured_is_no_reading_though_the_run_went_through(shop: Shop) -> None:
    """A sensor 0.9 mm too high: R20 would be there, the field is not; the step waits."""
    wrong = Simulation(seed=SEED, noise=EVEN_NOISE, errors=BenchErrors(height_offset_m=0.9e-3))
    with shop.opened(simulation=wrong) as opened:
        state = begin(opened, method="field")
        with pytest.raises(StationError, match="3 times running"):
            sit(opened, state, NotingDesk())
        state = study(shop.station.records, state.setup.name)

    assert ({"height_offset"}, 0) == ({each.code for each in state.not_taken}, len(state.taken))


def test_csv_gives_the_study_again_to_the_last_digit(shop: Shop, tmp_path: Path) -> None:
    """What `gauge study` reads from the files is what the records hold: four heights, a file each."""
    with shop.opened() as opened:
        state = sit(opened, begin(opened, method="field"), NotingDesk()).state
        finished = finished_study(shop.station.records, state)
    files = write_study(finished, tmp_path / "field.csv")

    assert ["field-B@1mm.csv", "field-B@2mm.csv", "field-B@4mm.csv", "field-B@8mm.csv"] == [
        each.name for each in files
    ]
    for path, result in zip(files, finished.results, strict=True):
        read = crossed_readings(path.read_text(), path.name)
        order = [read.parts.index(each) for each in state.setup.units]
        again = crossed_study(read, tolerance=result.tolerance)
        assert result.values.tolist() == read.values[order].tolist()
        assert result.crossed is not None
        assert result.crossed.model.variation.gauge == pytest.approx(again.model.variation.gauge, rel=1e-9)


def test_results_for_people_are_in_a_unit_with_a_prefix_and_the_same_share(shop: Shop) -> None:
    """An inductance of 11.6 uH is shown in uH; per cents do not depend on the unit."""
    with shop.opened() as opened:
        state = sit(opened, begin(opened, method="inductance"), NotingDesk()).state
        (result,) = finished_study(shop.station.records, state).results
    unit, shown = in_readable_unit(state.setup, result)

    assert "uH" == unit
    assert shown.values.mean() == pytest.approx(1e6 * result.values.mean())
    assert result.crossed is not None
    assert shown.crossed is not None
    assert shown.crossed.model.variation.gauge == pytest.approx(1e12 * result.crossed.model.variation.gauge, rel=1e-6)
    assert shown.tolerance == pytest.approx(0.7)


def test_type1_study_compares_a_reference_unit_with_its_assigned_value(shop: Shop, tmp_path: Path) -> None:
    """Ten loadings of the shipped good unit: filed as a reference, its bias small beside the tolerance."""
    usual = Simulation(seed=SEED)  # with all its noise: without any a study has nothing to show
    with shop.opened(units=(reference_truth(GOOD), *shop.new_units(1)), simulation=usual) as opened:
        wanted = StudyWanted((GOOD.serial,), ("EN-02",), characteristics=("R20",), trials=10)
        state = begin_study(shop.station.records, opened.inspection, wanted)
        state = sit(opened, state, NotingDesk()).state
        finished = finished_study(shop.station.records, state)
        runs = runs_of(shop.station.records, state)
    (result,), (path,) = finished.results, write_study(finished, tmp_path / "type1.csv")

    assert {REFERENCE_LOT} == {each.opened.unit.lot for each in runs}
    assert result.type1 is not None
    assert result.system is not None
    assert 7.0512 == result.type1.bias.reference
    assert 0.0035 == pytest.approx(result.system.u_cal)  # half of the assigned 7 mohm
    assert abs(result.type1.bias.bias) < 0.02
    assert result.values.ravel().tolist() == single_values(path.read_text(), path.name).tolist()


def test_assigned_value_that_has_ended_is_refused(shop: Shop, tmp_path: Path) -> None:
    """Before anything is loaded, with the day on which it ended."""
    text = data_path("reference_units/IS-20-low-R.toml").read_text()
    (tmp_path / "low.toml").write_text(text.replace("valid_until = 2046-09-01", "valid_until = 2020-01-02"))
    with shop.opened() as opened:
        wanted = StudyWanted((GOOD.serial,), ("EN-02",), method="resistance", references=tmp_path)
        with pytest.raises(StationError, match="ended on 2020-01-02"):
            begin_study(shop.station.records, opened.inspection, wanted)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"appraisers": ("Jo",)}, "must read like OP-07"),
        ({"appraisers": ("VI-01",)}, "must read like OP-07"),
        ({"appraisers": ()}, "badge of one appraiser"),
        ({"units": ("nonsense", "L0000-01-A01")}, "no serial of IS-20"),
        ({"units": ("L0000-01-A01", "L0000-01-A01")}, "once only"),
        ({"units": ("L0000-01-A01",)}, "no good reference unit"),
        ({"method": "heating"}, "judges nothing by the method 'heating'"),
        ({"method": "", "characteristics": ("R20", "L")}, "a study is of one method"),
        ({"method": "", "characteristics": ("R21",)}, "no characteristic 'R21'"),
        ({"characteristics": ("R20",)}, "either a method or its characteristics"),
        ({"method": ""}, "either a method or its characteristics"),
        ({"trials": 1}, "2 trials or more"),
        ({"trials": 0}, "2 trials or more"),
        ({"trials": 999}, "3000 readings at most; this one would have 3996"),
    ],
)
def test_study_that_can_not_be_made_is_refused_before_anything_is_on_record(
    shop: Shop, changes: dict[str, object], words: str
) -> None:
    """One clear message; no study is opened."""
    wanted = StudyWanted(("L0000-01-A01", "L0000-01-A02"), APPRAISERS, method="resistance")
    with shop.opened() as opened:
        known = len(studies(shop.station.records))
        with pytest.raises(StationError, match=words):
            begin_study(shop.station.records, opened.inspection, replace(wanted, **changes))  # type: ignore[arg-type]

    assert known == len(studies(shop.station.records))


def test_study_goes_on_only_on_the_bench_that_it_was_begun_on(shop: Shop) -> None:
    """Another bench would be another gauge."""
    with shop.opened() as opened:
        state = begin(opened)
    other = Simulation(seed=SEED, noise=EVEN_NOISE, bench="bench-2")
    with shop.opened(simulation=other) as opened, pytest.raises(RecordError, match="begun on simulated bench bench-1"):
        open_sitting(shop.station.records, opened.inspection, state, NotingDesk().tell)


def test_two_programs_that_go_on_with_one_study_take_no_step_twice(shop: Shop) -> None:
    """The second one's reading of a step is refused, and is none of the study."""
    with shop.opened() as opened:
        state = begin(opened)
        step = state.next_step("OP-07")
        assert step is not None
        first, second = (
            open_sitting(shop.station.records, opened.inspection, state, NotingDesk().tell) for _ in range(2)
        )
        first.measure(step)
        with pytest.raises(RecordError, match="has its reading already"):
            second.measure(step)

    assert first.state.taken == study(shop.station.records, state.setup.name).taken


def test_run_that_is_not_what_the_study_says_is_found(shop: Shop) -> None:
    """A study whose entry names another unit's run gives no results."""
    with shop.opened() as opened:
        state = sit(opened, begin(opened), NotingDesk()).state
    first, second = state.steps[:2]
    swapped = replace(state, taken={**state.taken, first: state.taken[second]})

    with pytest.raises(RecordError, match="and not of"):
        finished_study(shop.station.records, swapped)


def _study_request() -> Request:
    return Request("OP-07", Purpose.STUDY, methods=("contact", "resistance"))
