"""`coilgate bench verify`, `chart`, `cleaned`, `contacts` and `unit show --budget` on a served simulated bench."""

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from sim.bench import SimulatedBench
from station.app.files import read_plan
from station.app.simulated import Simulation, served, write_bench_file
from station.app.station import Station
from station.cli.main import cli
from station.core.verification import Verification
from station.data import data_path
from station.errors import RecordError
from tests.station.verification_bench import EXACT, GOOD, REFERENCES, lcr_off_by

pytestmark = pytest.mark.slow


@dataclass(frozen=True)
class Served:
    """A home with a released plan, and a bench that is being served."""

    home: Path
    bench: Path
    sim: SimulatedBench

    def run(self, *words: str) -> Result:
        """Run one command in this process."""
        return CliRunner().invoke(cli, ["--home", str(self.home), *words])

    def verify(self, *words: str) -> Result:
        """`bench verify`."""
        return self.run("bench", "verify", "--bench", str(self.bench), "--operator", "OP-07", *words)

    def measure(self) -> tuple[int, str]:
        """`unit measure` of a good unit: exit code, and the code of its reason (empty: passed)."""
        words = ("--operator", "OP-07", "--repeat", "--json")
        done = self.run("unit", "measure", GOOD.serial, "--bench", str(self.bench), *words)
        fact = json.loads(done.stdout)
        return done.exit_code, "" if fact["decision"] == "PASS" else fact["reason"]["code"]

    def latest(self) -> Verification:
        """The latest verification on record."""
        with Station.open(self.home) as station:
            found = station.records.latest_verification("bench-1", "A")
        assert found is not None
        return found

    def add(self, verification: Verification) -> None:
        """Put one on record."""
        with Station.open(self.home) as station:
            station.records.add_verification(verification)


@pytest.fixture(scope="module")
def served_bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, SimulatedBench]]:
    """One bench for all tests, with exact instruments; each test has a home of its own."""
    folder = tmp_path_factory.mktemp("bench")
    simulation = Simulation(seed=11, units=(GOOD,), references=REFERENCES, errors=EXACT, speed=100.0)
    with served(simulation) as (setup, bench, _):
        write_bench_file(setup, folder / "bench-1.toml")
        yield folder / "bench-1.toml", bench


@pytest.fixture
def shop(served_bench: tuple[Path, SimulatedBench], tmp_path: Path) -> Served:
    """A fresh home, the plan released, the meter exact."""
    path, bench = served_bench
    bench.world.errors = EXACT
    with Station.open(tmp_path / "home") as station:
        plan = read_plan(data_path("plans/IS-20.toml"))
        station.records.release_plan(plan, who="EN-01", why="tests", utc=station.clock.utc_now())
    return Served(tmp_path / "home", path, bench)


def test_unverified_expired_and_drifted_bench_passes_no_unit(shop: Served) -> None:
    """At the command: not measured, exit code 2, each for its reason; in between, verified, it passes."""
    never = shop.measure()
    verified = shop.verify()
    passed = shop.measure()
    good = shop.latest()
    past = good.done_utc - timedelta(hours=11)
    shop.add(replace(good, verification_id="old", done_utc=past, verified_until_utc=past + timedelta(hours=10)))
    expired = shop.measure()
    shop.sim.world.errors = lcr_off_by(0.005)
    drifted = shop.verify()

    assert ((2, "not_verified"), 0, (0, "")) == (never, verified.exit_code, passed)
    assert ((2, "verification_expired"), 1) == (expired, drifted.exit_code)
    assert "NOT VERIFIED: L2600-01-A01 R20" in drifted.stdout
    assert "1 units judged since the last good verification are held" in drifted.stdout
    held = shop.run("unit", "measure", GOOD.serial, "--bench", str(shop.bench), "--repeat", "--json")
    assert (2, True) == (held.exit_code, "is held" in json.loads(held.stdout)["refused"])


def test_drifted_bench_passes_no_other_unit_either(shop: Served) -> None:
    """Without any unit in doubt: the failed verification alone does it."""
    shop.sim.world.errors = lcr_off_by(0.005)

    assert 1 == shop.verify().exit_code
    assert (2, "verification_failed") == shop.measure()


def test_verify_says_each_value_as_json(shop: Served) -> None:
    """One object a value, then the verification with what is held, used and drifting."""
    done = shop.verify("--json")
    *values, verification = [json.loads(line) for line in done.stdout.splitlines()]
    r20 = next(each for each in values if (each["reference_unit"], each["characteristic"]) == ("L2600-01-A01", "R20"))

    assert (0, True, []) == (done.exit_code, verification["verified"], verification["held"])
    assert {"L2600-01-A01", "L2600-01-B02"} <= verification["uses"].keys()
    assert (7.0512, True) == (r20["assigned"], r20["agrees"])
    assert abs(r20["en"]) < 0.5


def test_chart_gives_values_over_time_and_draws_them(shop: Served, tmp_path: Path) -> None:
    """Two verifications; a reference unit's R20 in JSON and as a drawing."""
    shop.verify()
    shop.verify()
    words = ("bench", "chart", "--bench", "bench-1", "--characteristic", "R20")
    facts = [json.loads(line) for line in shop.run(*words, "--json").stdout.splitlines()]
    drawn = shop.run(*words, "--plot", str(tmp_path / "R20.svg"))
    shown = shop.run(*words)

    assert ["L2600-01-A01", "L2600-01-A02", "L2600-01-A03"] == [each["reference_unit"] for each in facts]
    assert all(len(each["values"]) == 2 and each["warnings"] == [] for each in facts)
    assert (0, True) == (drawn.exit_code, (tmp_path / "R20.svg").stat().st_size > 10_000)
    assert "L2600-01-A01 R20, nest A: 2 values" in shown.stdout


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--plot", "x.svg"), "say what is to be drawn: --characteristic R20"),
        (("--characteristic", "R20", "--plot", "x.gif"), "written as .svg, .png or .pdf"),
    ],
)
def test_chart_refuses_what_it_can_not_draw(shop: Served, words: tuple[str, ...], said: str) -> None:
    """In words, exit code 2."""
    shop.verify()
    done = shop.run("bench", "chart", "--bench", "bench-1", *words)

    assert 2 == done.exit_code
    assert said in done.stderr


def test_chart_of_an_unknown_bench_says_so(shop: Served) -> None:
    """A slip in the name."""
    assert isinstance(shop.run("bench", "chart", "--bench", "bench-2").exception, RecordError)


def test_cleaned_fixture_is_verified_anew_before_it_passes(shop: Served) -> None:
    """The entry is on record with the fixture's own count; contacts shows it."""
    shop.verify()
    before = shop.measure()
    entered = shop.run("bench", "cleaned", "--bench", "bench-1", "--who", "OP-07", "--why", "weekly")
    after = shop.measure()
    shop.verify()
    shown = json.loads(shop.run("bench", "contacts", "--bench", "bench-1", "--json").stdout)
    text = shop.run("bench", "contacts", "--bench", "bench-1").stdout

    assert (0, (0, ""), (2, "fixture_serviced"), (0, "")) == (entered.exit_code, before, after, shop.measure())
    (service,) = shown["services"]

    assert ("cleaned", "OP-07", "weekly") == (service["action"], service["who"], service["why"])
    assert ["start pad", "end pad"] == [each["pad"] for each in shown["contacts"]]
    assert "cleaned at" in text


def test_budget_names_terms_what_dominates_and_what_would_halve_it(shop: Served) -> None:
    """For people and as JSON."""
    shop.verify()
    shop.measure()
    text = shop.run("unit", "show", GOOD.serial, "--budget").stdout
    fact = json.loads(shop.run("unit", "show", GOOD.serial, "--budget", "--json").stdout)
    r20 = fact["budgets"]["R20"]

    assert "dominated by thermometer" in text
    assert "U would be halved with thermometer" in text
    assert "Monte Carlo (JCGM 101" in text
    assert 1.0 == pytest.approx(sum(each["share_of_variance"] for each in r20["terms"]))
    assert fact["results"]["R20"]["expanded_uncertainty"] == pytest.approx(r20["expanded_uncertainty"])
    assert r20["expanded_uncertainty"] == pytest.approx(r20["monte_carlo_expanded_uncertainty"], rel=0.01)
    (phase,) = (each for each in fact["correlations"] if each["characteristics"] == ["Rs", "Q"])
    assert phase["coefficient"] < -0.3
    assert ["meter phase"] == phase["opposite"]
    assert "Rs and Q: -" in text
    assert "by meter phase (opposite)" in text
