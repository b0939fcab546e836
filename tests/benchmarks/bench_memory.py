"""How many units a second are measured, judged and recorded over memory links with the manual clock.

    python -m tests.benchmarks.bench_memory

All methods of the plan, the simulated operator's loading, the durable commits: everything but waiting.
The rate is that of the fastest block in which every unit was measured to its end: one that ends early is quicker.
"""

import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import timedelta
from pathlib import Path

from station.app.simulated import Simulation, in_memory, lot_serials
from station.app.station import Station
from station.core.plan import Plan
from station.core.plan_file import parse_plan
from station.core.results import Decision
from station.core.verification import Verification
from station.data import data_path
from station.inspection import Inspection, Request
from tests.benchmarks.bench_unit import short_plan
from tests.benchmarks.table import Line, format_table

GOAL = 200.0
BLOCKS, UNITS = 60, 10
WARM_UP = 25
_REQUEST = Request("OP-07")


@contextmanager
def _inspection(home: Path, plan: Plan) -> Iterator[tuple[Inspection, Iterator[str]]]:
    with ExitStack() as stack:
        station = stack.enter_context(Station.open(home))
        station.records.release_plan(plan, who="EN-01", why="benchmark", utc=station.clock.utc_now())
        simulation = Simulation(handling_s=0.2)
        place = in_memory(simulation, station.stop)
        inspection = stack.enter_context(
            station.inspecting(
                place.setup, where="a benchmark", hands=place.hands, links=place.links, clock=place.clock
            )
        )
        now_utc = place.clock.utc_now()
        station.records.add_verification(
            Verification(
                verification_id="verified",
                bench=place.setup.name,
                nest=place.setup.nest,
                fixture_identity=inspection.fixture_identity,
                part=plan.part,
                done_utc=now_utc,
                verified=True,
                verified_until_utc=now_utc + timedelta(days=30),
                unit_limit=100_000,
                operator="OP-07",
                words="stated for the benchmark",
            )
        )
        yield inspection, iter(lot_serials(simulation, WARM_UP + BLOCKS * UNITS + 1))


def measure(plan: Plan) -> tuple[float, float, int]:
    """Return units a second of the fastest block and of all blocks together, and the queries of a unit."""
    with (
        tempfile.TemporaryDirectory(prefix="coilgate-bench-") as home,
        _inspection(Path(home), plan) as (inspection, serials),
    ):
        _take(inspection, serials, WARM_UP)
        blocks_s = [each for _ in range(BLOCKS) if (each := _take(inspection, serials, UNITS)) is not None]
        record = inspection.inspect(next(serials), _REQUEST)
    queries = sum(each.direction == "in" for each in record.transcript)
    return UNITS / min(blocks_s), UNITS * len(blocks_s) / sum(blocks_s), queries


def _take(inspection: Inspection, serials: Iterator[str], count: int) -> float | None:
    """Take `count` units through; return the seconds, None if one of them was not measured to its end."""
    start_s = time.perf_counter()
    decisions = {inspection.inspect(next(serials), _REQUEST).decision for _ in range(count)}
    took_s = time.perf_counter() - start_s
    return None if Decision.INVALID in decisions else took_s


def lines() -> list[Line]:
    """Return the lines of the table: the shipped plan, and the short one that `bench_unit` takes."""
    shipped = parse_plan(data_path("plans/IS-20.toml").read_text(encoding="utf-8"), "IS-20.toml")
    return [_line("IS-20 as shipped", shipped), _line("IS-20, one height", short_plan())]


def _line(what: str, plan: Plan) -> Line:
    best, mean, queries = measure(plan)
    return Line(
        f"in memory, recorded: {what} ({queries} queries)",
        f"{best:.0f} units/s (mean {mean:.0f})",
        f"at least {GOAL:.0f} units/s",
        best >= GOAL,
    )


if __name__ == "__main__":
    print(format_table(lines()))
