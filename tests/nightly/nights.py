"""Short nights: shipped scenarios with fewer units."""

from dataclasses import replace

from station.nightly.figures import is_figure
from station.nightly.scenario import Scenario, scenario_path
from station.nightly.scenario_file import read_scenario


def short(name: str, units: int) -> Scenario:
    """Return a shipped scenario with so many units."""
    scenario = read_scenario(scenario_path(name), known=is_figure)
    return replace(scenario, lot=replace(scenario.lot, units=units))
