"""Heats the coil of an open bench in a process of its own, by the shipped heating plan."""

from dataclasses import replace
from pathlib import Path

from station.app.simulated import ACCURACIES, HOLDER
from station.bench import OpenBench
from station.core.plan import HeatingStep
from station.core.plan_file import parse_plan
from station.data import data_path
from station.heat_memory import HeatOnDisk
from station.methods.context import Context
from station.methods.table import carry_out


def heat(bench: OpenBench, home: Path) -> None:
    """Measure the heating; what is remembered of heat is kept in `home`."""
    setup = bench.setup
    instruments = tuple(replace(each, accuracies=ACCURACIES[each.kind]) for each in setup.instruments)
    bench.setup = replace(setup, instruments=instruments, fixture=HOLDER)
    plan = parse_plan(data_path("plans/IS-20-heating.toml").read_text(encoding="utf-8"), "heating.toml")
    step = next(each for each in plan.steps if isinstance(each, HeatingStep))
    carry_out(Context(bench, plan, heat=HeatOnDisk(home, setup.name, setup.nest)), step)
