"""One's own coil on a simulated bench: the shelf follows from the drawing, and is judged by the plan's limits."""

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from station.app.drawn_heat import drawn_rises
from station.app.drawn_shelf import (
    FIRST_PLACE,
    drawn_shelf,
    forget_references,
    outside_limits,
    references_folder,
    write_references,
)
from station.app.files import read_plan, read_reference_units
from station.app.setting_up import open_simulated
from station.app.station import Station
from station.app.workplace import Workplace
from station.core.plan import Plan
from station.core.plan_file import parse_plan
from station.core.reference_check import missing_references
from station.core.results import Decision
from station.data import data_path
from station.errors import BenchError
from tests.pages.station_in_browser import settled, workplace_on

IS_20 = data_path("plans/IS-20.toml").read_text(encoding="utf-8")
DRAWN = (('part = "IS-20"', 'part = "PC-7"'), ("turns_per_layer = 20", "turns_per_layer = 14"))
LIMITS = (
    ("6.8 ohm", "3.7 ohm"), ("7.6 ohm", "4.3 ohm"), ("8.4 ohm", "4.9 ohm"), ("9.2 ohm", "5.6 ohm"),
    ("11.3 uH", "4.9 uH"), ("12.0 uH", "5.25 uH"), ('"5.6 mT/A"', '"4.4 mT/A"'), ("6.5 mT/A", "5.2 mT/A"),
    ("3.9 mT/A", "2.85 mT/A"), ('"4.5 mT/A"', '"3.35 mT/A"'), ("1.80 mT/A", "1.13 mT/A"), ("2.12 mT/A", "1.36 mT/A"),
    ("0.49 mT/A", "0.25 mT/A"), ("0.59 mT/A", "0.32 mT/A"),
)  # fmt: skip
"""About what the coil model says of 14 turns; in this order no one replaces another's."""


def own_plan(*changes: tuple[str, str]) -> Plan:
    """A coil of fewer turns than the invented one, and more changes."""
    text = IS_20
    for old, new in (*DRAWN, *changes):
        assert old in text, old
        text = text.replace(old, new)
    return parse_plan(text, "own.toml")


@pytest.fixture
def workplace(tmp_path: Path) -> Iterator[Workplace]:
    """An empty home with one's own plan released."""
    with workplace_on(tmp_path, bench=False) as found:
        station = found.station
        plan = own_plan(*LIMITS)
        station.records.release_plan(plan, who="EN-02", why="tests", utc=station.clock.utc_now())
        found.plans_changed()
        yield found


@pytest.mark.slow
def test_own_drawing_leads_to_a_judged_unit(workplace: Workplace) -> None:
    """Released, simulated, verified by the shelf's own reference units, measured: pass by the plan's limits."""
    trouble = open_simulated(workplace, who="EN-02", speed=100.0)
    workplace.verify("OP-07")
    settled(workplace, verified=True)
    workplace.scan(f"L2641-{FIRST_PLACE}", "OP-07")
    settled(workplace)
    decided = workplace.shown.board.decided
    values = {each.characteristic: each.value for each in workplace.shown.board.results}

    assert "" == trouble
    assert decided is not None
    assert Decision.PASS is decided.decision
    # 14 of 20 turns of the same tracks, by hand: the length of 2 x 14 rings of mean radius 3.24 mm against 2 x 20 of
    # 3.96 mm makes 0.573 of 7.94 ohm; the lot spreads by some ten per cent about that.
    assert values["R20"] == pytest.approx(0.573 * 7.94, rel=0.2)


def test_drawing_outside_its_own_limits_is_told_before_anything_is_made() -> None:
    """Fourteen turns under the limits of twenty: each is named with what the drawing should read."""
    wrong, right = outside_limits(own_plan()), outside_limits(own_plan(*LIMITS))

    assert ["R20", "L", "B@1mm", "B@2mm", "B@4mm", "B@8mm"] == [each.split()[0] for each in wrong]
    assert all(each.endswith("outside its limits") for each in wrong)
    assert () == right


def test_reference_units_files_read_back(tmp_path: Path) -> None:
    """What is written is what the shelf holds: two good ones near both ends of R20, one that is cut through."""
    plan = own_plan(*LIMITS)
    _, units = drawn_shelf(plan)
    read = read_reference_units(write_references(units, references_folder(tmp_path, "a/b")), plan.part)
    by_serial = {each.serial: each for each in read}

    assert {each.serial: each.values for each in units} == {serial: each.values for serial, each in by_serial.items()}
    assert [3.89, 5.41] == [
        pytest.approx(by_serial[f"PC-7-REF-{name}"].values[0].value) for name in ("low-R", "high-R")
    ]
    assert tmp_path / "simulated-references" / "a_b" == references_folder(tmp_path, "a/b")


def test_plan_that_heats_gets_a_thermal_reference_unit_as_the_shipped_one() -> None:
    """Of 8.000 ohm as that: the same rises and thermal resistance, so nothing is missing to verify a bench."""
    plan = read_plan(data_path("plans/IS-20-heating.toml"))
    _, units = drawn_shelf(plan)
    (shipped,) = (each for each in Station.shipped_references("IS-20") if each.assigned("Rth@air"))
    (thermal,) = (each for each in units if each.assigned("Rth@air"))
    found = {each.characteristic: each.value for each in thermal.values}
    wanted = {each.characteristic: each.value for each in shipped.values if each.characteristic != "L"}

    assert wanted == {name: pytest.approx(value, rel=1e-3) for name, value in found.items()}
    assert () == missing_references(plan, units, date(2026, 11, 25))


def test_level_beyond_the_temperature_limit_is_not_assigned() -> None:
    """At 4 V the film would be far above 80 degC: it is never driven so, and must not be missed."""
    text = data_path("plans/IS-20-heating.toml").read_text(encoding="utf-8")
    rises = drawn_rises(parse_plan(text.replace('"2 V"]', '"2 V", "4 V"]'), "own.toml"), 8.0)

    assert {"rise@1V", "rise@1.5V", "rise@2V"} == {each for each in rises if each.startswith("rise@")}
    assert {} == drawn_rises(own_plan(), 8.0)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (('shape = "circle"', 'shape = "square"'), "makes round coils only; this one is a square"),
        (("L[0-9]{4}", "Q[0-9]{4}"), "serials of the simulated lot read L2641-01-A01"),
    ],
)
def test_what_can_not_be_simulated_says_so(change: tuple[str, str], words: str) -> None:
    """Another shape, another pattern of serials: with what would do."""
    with pytest.raises(BenchError, match=words):
        drawn_shelf(own_plan(change))


def test_shelf_takes_serials_of_a_lot_that_is_named() -> None:
    """A plan whose serials begin otherwise is tried with a lot of its own."""
    _, units = drawn_shelf(own_plan(*LIMITS, ("L[0-9]{4}", "Q[0-9]{4}")), lot="Q2641")

    assert 3 == len(units)


def test_bench_takes_the_files_of_its_simulated_shelf_by_itself(tmp_path: Path) -> None:
    """Those beside the records serve, also if the part kept the name of the shipped one; until the shelf is another."""
    plan, shipped = own_plan(*LIMITS), data_path("reference_units")
    own = [write_references(drawn_shelf(plan)[1], references_folder(tmp_path, part)) for part in (plan.part, "IS-20")]
    with Station.open(tmp_path) as station:
        found = [station.invented_references(each) for each in (plan.part, "IS-20", "PC-8")]
        forget_references(tmp_path, "IS-20")
        after = station.invented_references("IS-20")

    assert [*own, shipped] == found
    assert shipped == after
