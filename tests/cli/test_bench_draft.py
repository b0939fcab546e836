"""`coilgate bench draft`: lists, writes, overwrites nothing, and says what is missing."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from station.app.simulated import Simulation, served
from station.cli.main import cli
from station.core.bench_file import parse_bench


def run(home: Path, *words: str) -> Result:
    """Run the command on a home, looking nowhere by itself."""
    return CliRunner().invoke(cli, ["--home", str(home), "bench", "draft", "--no-search", *words])


@pytest.mark.slow
def test_draft_of_a_simulated_meter_is_written_and_the_rest_is_missing(tmp_path: Path) -> None:
    """One instrument of four: its table stands, exit code 2 tells that the bench is not whole."""
    file = tmp_path / "bench.toml"
    with served(Simulation()) as (setup, _, _):
        address = next(each.address for each in setup.instruments if each.kind == "lcr")
        done = run(tmp_path, "--address", address, "--to", str(file), "--json")
    fact = json.loads(done.stdout)

    assert 2 == done.exit_code
    assert ["source", "fixture", "thermometer"] == fact["missing"]
    assert [("lcr", "lcr-status-last")] == [(each["kind"], each["dialect"]) for each in fact["found"]]
    assert [address] == [each.address for each in parse_bench(file.read_text(encoding="utf-8"), "b").instruments]


def test_wrong_words_are_refused_and_a_file_is_kept(tmp_path: Path) -> None:
    """No pair, and a file that is there."""
    file = tmp_path / "bench.toml"
    file.write_text("mine", encoding="utf-8")
    pair = run(tmp_path, "--is", "lcr-status-last")
    kept = run(tmp_path, "--to", str(file))

    assert "reads ADDRESS=DIALECT" in pair.output
    assert "is there already" in kept.output
    assert "mine" == file.read_text(encoding="utf-8")
