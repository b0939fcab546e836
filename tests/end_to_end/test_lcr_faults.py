"""A meter that tells the same again, or one wrong number among right ones."""

from pathlib import Path

import pytest

from sim.bench import LCR
from sim.faults import Fault, FaultKind
from station.core.plan import Plan
from station.core.plan_file import parse_plan
from station.core.results import Decision
from tests.end_to_end.shop import Shop, code_of

RESISTANCE_ONLY = """
part = "IS-20"
title = "Resistance alone"
serial = '(?P<lot>L[0-9]{4})-(?P<panel>[0-9]{2})-(?P<row>[A-H])(?P<column>[0-9]{2})'
[coil]
shape = "circle"
layers = 2
turns_per_layer = 20
inner_diameter = "3.0 mm"
track_width = "0.12 mm"
track_gap = "0.12 mm"
copper = "18 um"
layer_gap = "50 um"
[[measure]]
method = "contact"
limit = "1 ohm"
[[measure]]
method = "resistance"
[characteristic.R20]
lower = "6.8 ohm"
upper = "9.2 ohm"
[[bin]]
number = 1
name = "good"
takes = "PASS"
[[bin]]
number = 90
name = "reject"
takes = "FAIL"
[[bin]]
number = 99
name = "hold"
takes = "HOLD"
"""
"""Nothing but the look at the open route can tell that the meter repeats an old number."""


def resistance_only() -> Plan:
    """Return the plan of resistance alone."""
    return parse_plan(RESISTANCE_ONLY, "resistance-only.toml")


@pytest.mark.slow
def test_frozen_meter_never_gives_its_old_number_to_a_unit(tmp_path: Path) -> None:
    """At whichever message it freezes: a unit has its own resistance, or none."""
    wrong: list[str] = []
    invalid = 0
    with Shop(tmp_path, plan=resistance_only()) as shop:
        with shop.opened() as opened:
            opened.measure(0)
            before = opened.counts()[LCR][0]
            opened.measure(1)
            after = opened.counts()[LCR][0]
        for nth in range(before, after):
            with shop.opened(faults=(Fault(LCR, FaultKind.FROZEN, nth=nth),)) as opened:
                for index in range(3):
                    record = opened.measure(index)
                    invalid += record.decision is Decision.INVALID
                    wrong.extend(f"{nth}: {each}" for each in opened.wrong_values(record))

    assert (True, []) == (invalid >= after - before, wrong)


@pytest.mark.parametrize("place", [2, 3, 4])
def test_one_reading_of_another_coil_is_not_averaged_in(shop: Shop, place: int) -> None:
    """A number in the right form that is not this coil's: the set of readings jumps, nothing is measured."""
    # A resistance 2 % off; counted from the first good reading of the run.
    fault = Fault(LCR, FaultKind.REPLACED, nth=place, matching=",+0", data=b"+7.34000E+00,+0.00000E+00,+0\n")
    with shop.opened(faults=(fault,)) as opened:
        record = opened.measure(0)
        struck = opened.sim.wrappers[LCR].struck

    assert ([fault], Decision.INVALID, True) == (
        struck,
        record.decision,
        code_of(record) in ("readings_jump", "not_still"),
    )
