"""What the operator's board says of a unit while it is measured, drawn from events: no bench, no browser."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from functools import reduce

import pytest

from station.app.files import read_plan
from station.app.shown import Shown
from station.core.board import Board, advance
from station.core.events import (
    Event,
    FieldReading,
    HeatingSample,
    MethodStarted,
    NestCool,
    NestHot,
    ReadingTaken,
    ResultReady,
    RunDecided,
    RunStarted,
    ScanTaken,
)
from station.core.panel import PanelWay, skip
from station.core.plan_panel import panel_places
from station.core.results import Decision, Result, ResultStatus
from station.data import data_path
from station.pages.drawings import field_profile, heating_words, spread
from station.pages.live import board_html, hot_words, spoken, verdict
from station.pages.site import make_templates
from station.pages.words import settling_words

SERIAL = "L2641-01-A01"
HEATING = read_plan(data_path("plans/IS-20-heating.toml"))
FIELD = read_plan(data_path("plans/IS-20.toml"))
UNTIL = datetime(2026, 11, 25, 17, 52, 10, tzinfo=UTC)
DRIVEN = NestHot(touch_limit_degc=48.0, driven=True, cool_by_utc=UNTIL, reads_degc=51.4)
COOLING = NestHot(touch_limit_degc=48.0, driven=False, cool_by_utc=UNTIL, reads_degc=61.0)
BEGUN: tuple[Event, ...] = (
    ScanTaken(serial=SERIAL),
    RunStarted(serial=SERIAL, run_id="r"),
    MethodStarted(method="heating", index=1, total=1),
)
DECIDED = RunDecided(
    serial=SERIAL,
    run_id="r",
    decision=Decision.PASS,
    bin_number=1,
    bin_name="good",
    reason=None,
    held=False,
    next_action="Put it into bin 1 (good).",
)


def sample(time_s: float, *, foretold_k: float | None = None, soaked_out: bool = False) -> HeatingSample:
    """A sample of the last of three levels."""
    return HeatingSample(
        time_s=time_s,
        level=3,
        levels=3,
        drive=2.0,
        drive_unit="V",
        rise_k=20.0 + 0.1 * time_s,
        wanted_k=0.5,
        soaked_out=soaked_out,
        level_left_s=120.0 - time_s,
        left_s=120.0 - time_s,
        foretold_rise_k=foretold_k,
        foretold_uncertainty_k=None if foretold_k is None else 0.5,
    )


def shown(*events: Event, heating: bool = True) -> Shown:
    """What a page shows after events."""
    board = reduce(advance, events, Board())
    return Shown(board=board, plans=(HEATING if heating else FIELD,), lot="L2641")


def html(found: Shown) -> str:
    """The board as sent to a browser."""
    return board_html(make_templates(), found, signed_in=True)


def test_heated_run_shows_curve_prediction_with_interval_and_time_left() -> None:
    """Rise so far, where it will settle by the fit with its 95 % interval, what is wanted, how long it may take yet."""
    found = shown(*BEGUN, DRIVEN, sample(0.0), sample(10.0, foretold_k=29.0))

    assert (
        "level 3 of 3, 2 V: rise 21.0 K, will settle at 29.0 ± 1.0 K (wanted within 0.5 K); "
        "at most 1 min 50 s left, less as soon as the foretold rise is sure"
    ) == heating_words(found)
    assert 'class="foretold"' in html(found)


def test_time_left_goes_by_the_last_unit_that_was_not_soaked_out() -> None:
    """The unit before took 40 s: so about 30 s are left after 10 s. A soak's end is known and needs no other unit."""
    before = (*BEGUN, DRIVEN, sample(0.0), sample(40.0), COOLING, NestCool())
    quick = shown(*before, *BEGUN, DRIVEN, sample(0.0), sample(10.0))
    soak = shown(*before, *BEGUN, DRIVEN, sample(0.0), sample(10.0, soaked_out=True))

    assert "about 30 s left as for the last unit, at most 1 min 50 s left" in heating_words(quick)
    assert "; 1 min 50 s left, soaked out" in heating_words(soak)


def test_curve_stays_with_its_decision_until_the_next_scan() -> None:
    """At the end the caption gives the judged rise; the next unit begins with an empty paper."""
    rise = Result("rise@2V", "K", ResultStatus.MEASURED, 28.6, expanded_uncertainty=0.2)
    end = (*BEGUN, DRIVEN, sample(0.0), sample(10.0), COOLING, NestCool(), ResultReady(result=rise), DECIDED)

    assert "rise@2V 28.60 ± 0.20 K: pass" == heating_words(shown(*end))
    assert "curve hot" in html(shown(*end))
    assert "curve hot" not in html(shown(*end, ScanTaken(serial="L2641-01-A02")))


@pytest.mark.parametrize(
    ("hot", "words"),
    [
        (DRIVEN, ["until the nest reads below 48 °C (now 51 °C)", "at the latest"]),
        (COOLING, ["until the nest reads below 48 °C (now 61 °C)", "at the latest"]),
        (NestHot(touch_limit_degc=48.0, driven=False, cool_by_utc=UNTIL), ["no thermometer can tell"]),
        (NestHot(touch_limit_degc=43.0, driven=False, cool_by_utc=None), ["below 43 °C", "this note is gone"]),
    ],
)
def test_hot_nest_says_until_when_nobody_may_touch(hot: NestHot, words: Sequence[str]) -> None:
    """By the nest's reading and by the clock; by the clock alone if no thermometer is to be trusted."""
    said = hot_words(hot)

    assert said.startswith("Do not touch the coil until ")
    assert all(each in said for each in words)


def test_hot_nest_has_a_symbol_and_colour_of_its_own_whatever_else_is_shown() -> None:
    """Driven, cooling, decided while still hot: the caution stands; it goes when the nest reads cool, not before."""
    states = [
        shown(*BEGUN, DRIVEN, sample(0.0)),
        shown(*BEGUN, DRIVEN, sample(0.0), COOLING),
        shown(*BEGUN, DRIVEN, sample(0.0), COOLING, DECIDED),
    ]

    assert ["driven", "hot", "pass"] == [verdict(each).kind for each in states]
    assert all('<p class="hot"><svg class="shape hot"' in html(each) for each in states)
    assert '<p class="hot">' not in html(shown(*BEGUN, DRIVEN, COOLING, DECIDED, NestCool()))


def test_nest_stays_hot_through_whatever_follows() -> None:
    """The next scan, a refusal: neither cools a coil."""
    assert COOLING == shown(*BEGUN, COOLING, DECIDED, *BEGUN).board.hot


def test_reading_is_shown_until_there_is_a_result() -> None:
    """A resistance that is still watched for holding still stands in the table and in the lot's spread."""
    reading = ReadingTaken(characteristic="R20", unit_symbol="ohm", value=7.812)
    result = Result("R20", "ohm", ResultStatus.MEASURED, 7.8, expanded_uncertainty=0.01)
    before, after = shown(*BEGUN, reading), shown(*BEGUN, reading, ResultReady(result=result))

    assert "reads 7.812 Ω" in html(before)
    assert "this unit 7.812 Ω" in str(spread(before))
    assert "reads 7.812" not in html(after)


def test_field_readings_are_shown_as_they_come() -> None:
    """A dot a height, the mean of both signs of the current once there are both, against limits and drawing."""
    up = [FieldReading(height_m=height, sign=1, field_t_per_a=0.02) for height in (1e-3, 2e-3)]
    down = [FieldReading(height_m=2e-3, sign=-1, field_t_per_a=0.03)]
    drawn = str(field_profile(FIELD, (), taken=(*up, *down)))
    single = str(field_profile(FIELD, (), taken=(*up, FieldReading(height_m=2e-3, sign=1, field_t_per_a=0.03))))

    assert 2 == drawn.count('class="dot"')
    assert drawn == single
    assert 0 == str(field_profile(FIELD, ())).count('class="dot"')


def test_screen_reader_hears_decision_then_next_place() -> None:
    """What the eye finds in the tile and the map is said in one breath; a hot coil before all else."""
    _, panel, places = panel_places(FIELD, "L2641-01")
    way = skip(PanelWay("L2641-01", "L2641", panel, places, unit_labels=False))
    found = replace(shown(*BEGUN, DECIDED, heating=False), panel=way, panel_said="A01 is skipped.")

    assert (
        f"{SERIAL}: pass. Put it into bin 1 (good). A01 is skipped. Place A02: take its unit, press Enter."
    ) == spoken(found)
    assert "The coil is hot. Do not touch it." == spoken(replace(shown(*BEGUN, COOLING), panel=way))


@pytest.mark.parametrize(
    ("half_width_k", "words"), [(0.98, "29.0 ± 1.0 K"), (0.03, "29.03 ± 0.03 K"), (0.001, "29.03 ± 0.01 K")]
)
def test_sure_prediction_is_not_shown_as_certain(half_width_k: float, words: str) -> None:
    """A small interval is said with more digits, and never as nought."""
    assert words == settling_words(29.03, half_width_k)
