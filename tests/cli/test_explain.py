"""`coilgate unit explain` and `lot explain`: whole runs on a simulated bench in memory, then what the records say."""

import json
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from sim.lot import NO_DEFECTS, Lot
from station.cli.main import cli
from station.core.verification import Verification, VerificationValue
from station.records import Records
from tests.end_to_end.shop import Shop

DEFECTS = {
    "L2641-01-B03": "shorted_turns",
    "L2641-01-B05": "open",
    "L2641-01-B07": "layer_short",
    "L2641-01-B11": "poor_contact",
}
UNITS = 36


def _run(home: Path, *words: str) -> Result:
    return CliRunner().invoke(cli, ["--home", str(home), *words])


def _facts(home: Path, *words: str) -> dict:
    result = _run(home, *words, "--json")
    assert 0 == result.exit_code, result.output
    return json.loads(result.stdout)


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three rows of a panel measured, four coils of them damaged."""
    folder = tmp_path_factory.mktemp("home")
    lot = Lot(5, panels=1, rates=NO_DEFECTS, defects=DEFECTS)
    units = [lot.truth(serial) for serial in list(lot.serials())[:UNITS]]
    with Shop(folder) as shop, shop.opened(units=units) as opened:
        for number in range(len(units)):
            opened.measure(number)
    return folder


@pytest.mark.slow
@pytest.mark.parametrize(
    ("serial", "cause"),
    [
        ("L2641-01-A02", "nothing_unusual"),
        ("L2641-01-B03", "shorted_turns"),
        ("L2641-01-B05", "open"),
        ("L2641-01-B07", "short_between_layers"),
        ("L2641-01-B11", "poor_contact"),
    ],
)
def test_unit_explain_names_the_true_cause(home: Path, serial: str, cause: str) -> None:
    """Each damaged coil, measured as any unit is, is explained by what was done to it."""
    found = _facts(home, "unit", "explain", serial)

    assert cause == found["causes"][0]["cause"]
    assert found["evidence"]


@pytest.mark.slow
def test_unit_explain_text_is_short_and_says_where(home: Path) -> None:
    """Causes with per cent, the place, the evidence, the proof; never 100 %."""
    text = _run(home, "unit", "explain", "L2641-01-B03").stdout

    assert ">99 %  shorted turns" in text
    assert "where: 2 turns" in text
    assert "to prove it:" in text
    assert "100 %" not in text
    assert len(text.splitlines()) < 20


@pytest.mark.slow
def test_bridge_between_layers_fails_though_no_field_was_measured(home: Path) -> None:
    """A field profile that no sound coil has is not measured; R20 and L fail by themselves and name the bridge."""
    found = _facts(home, "unit", "explain", "L2641-01-B07")

    assert "FAIL" == found["decision"]
    assert "short_between_layers" == found["causes"][0]["cause"]


@pytest.mark.slow
def test_lot_explain_counts_every_unit(home: Path) -> None:
    """The table has every unit once, damage by its serial, and what to ask."""
    found = _facts(home, "lot", "explain", "L2641")
    examples = {each["cause"]: each["examples"] for each in found["causes"]}

    assert UNITS == found["units"] == sum(each["units"] for each in found["causes"])
    assert ["L2641-01-B03"] == examples["shorted_turns"]
    assert any("shorted turns" in each for each in found["asks"])


@pytest.mark.slow
def test_damaged_units_are_pulled_for_x_ray(home: Path) -> None:
    """Shorted turns, a short between layers and an open coil lead the pull list, with the turns to look at."""
    found = {each["serial"]: each for each in _facts(home, "lot", "pull", "L2641")["units"]}

    for serial in ("L2641-01-B03", "L2641-01-B05", "L2641-01-B07"):
        assert "X-ray" in found[serial]["by"]
        assert [] == found[serial]["places"]
    assert "turns" in found["L2641-01-B03"]["look"][0]


@pytest.mark.slow
def test_lot_explain_text_has_a_table(home: Path) -> None:
    """The text starts with the counts and ends with what to ask and do."""
    text = _run(home, "lot", "explain", "L2641").stdout

    assert "likeliest cause" in text
    assert "what to ask and do:" in text


@pytest.mark.slow
def test_reference_unit_that_shifted_as_much_is_the_bench(home: Path, tmp_path: Path) -> None:
    """With a verification on record where R20 and L of the reference unit are as far up, the lot is bench drift."""
    copy = tmp_path / "home"
    shutil.copytree(home, copy)
    before = _facts(copy, "lot", "explain", "L2641")["lot_level"]
    with Records.open(copy) as records:
        _add_drifted_verification(records)
    after = _facts(copy, "lot", "explain", "L2641")["lot_level"]

    assert "bench_drift" != before[0]["cause"]
    assert "bench_drift" == after[0]["cause"]
    assert after[0]["probability"] > 0.99


def test_unknown_serial_and_lot_are_refused(tmp_path: Path) -> None:
    """What is not on record is said in a sentence, exit 2, no traceback."""
    for words in (("unit", "explain", "L2641-01-A01"), ("lot", "explain", "L2641")):
        result = _run(tmp_path, *words)

        assert result.exit_code != 0
        assert "L2641" in str(result.exception)


def _add_drifted_verification(records: Records) -> None:
    """A reference unit that reads 6 % high in R20, after the lot was measured."""
    done = datetime.now(UTC) + timedelta(days=3_650)
    bench = records.runs_of("L2641-01-A01")[-1].bench
    found = VerificationValue(
        "L2600-01-B01", "R20", "ohm", 7.9447 * 1.063, False,
        expanded_uncertainty=8e-3, assigned=7.9447, assigned_uncertainty=8e-3,
    )  # fmt: skip
    drifted = Verification(
        "019ac000-0000-7000-8000-00000000abcd", bench, "1", "", "IS-20", done, False, done, 0, "OP-07", "R20 is off"
    )
    records.add_verification(drifted, values=(found,))
