"""A simulated bench to begin on: the invented plan released if none is, an invented lot on the shelf.

If one's own plan is the only one released, the shelf holds coils as it draws them.
"""

from station.app.drawn_shelf import drawn_shelf, forget_references, references_folder, write_references
from station.app.files import read_plan
from station.app.simulated import Simulation
from station.app.station import Station
from station.app.workplace import Workplace
from station.data import data_path
from station.errors import BenchError

PART = "IS-20"
PLANS = ("IS-20", "IS-20-heating")
"""The invented plans that can be begun on."""


def open_simulated(
    workplace: Workplace, *, who: str, speed: float = 10.0, seed: int = 1, plan_name: str = PART
) -> str:
    """Open a simulated bench; return what stands against it, empty if it is open.

    `plan_name`: one of `PLANS`, released if no plan is.
    """
    if plan_name not in PLANS:
        return f"There is no invented plan {plan_name[:40]!r}; there are {', '.join(PLANS)}."
    if workplace.shown.bench is not None:
        return f"Bench {workplace.shown.bench.name} is open already."
    records = workplace.station.records
    if not records.released_plans():
        plan = read_plan(data_path(f"plans/{plan_name}.toml"))
        utc = workplace.station.clock.utc_now()
        records.release_plan(plan, who=who, why="first release of the invented example", utc=utc)
        workplace.plans_changed()
    own = [each for each in workplace.shown.plans if each.part != PART]
    if len(own) != 1 or len(workplace.shown.plans) != 1:
        forget_references(workplace.station.home, PART)
        workplace.simulate(Simulation(seed=seed, references=Station.shipped_references(PART), speed=speed))
        return workplace.shown.trouble
    try:
        design, references = drawn_shelf(own[0])
        folder = write_references(references, references_folder(workplace.station.home, own[0].part))
    except BenchError as error:
        return str(error)
    workplace.simulate(Simulation(seed=seed, design=design, references=references, speed=speed), references=folder)
    return workplace.shown.trouble
