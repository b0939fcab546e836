"""`coilgate coil`: facts, tables, plots and refusals."""

import json
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from station.cli.coil import coil
from tests.coil.test_polyline import square_spiral_table

PLAN = str(Path(__file__).parent.parent.parent / "fixtures" / "plans" / "IS-20.toml")
DRAWN = shlex.split(
    "--shape circle --layers 2 --turns-per-layer 35 --inner-diameter 1.9mm --track-width 0.1mm"
    " --track-gap 0.1mm --copper 18um --layer-gap 82um"
)


def _run(*words: str) -> Result:
    return CliRunner().invoke(coil, words)


def test_predict_states_the_facts_as_json() -> None:
    """2 x 35 turns: 1.98 m, 18.96 ohm, 34.84 uH by an independent solver (0.1 %)."""
    facts = json.loads(_run("predict", *DRAWN, "--height", "1 mm", "--height", "3mm", "--json").stdout)

    assert 1.98 == pytest.approx(facts["track_length_m"], abs=0.005)
    assert 18.96 == pytest.approx(facts["resistance_20_ohm"], abs=0.005)
    assert 34.839e-6 == pytest.approx(facts["inductance_h"], rel=1e-3)
    assert [0.001, 0.003] == [point["height_m"] for point in facts["field"]]
    assert facts["field"][0]["flux_density_t_per_a"] > facts["field"][1]["flux_density_t_per_a"] > 0


def test_predict_tells_people_the_same() -> None:
    """Units scaled, the estimate marked as one."""
    told = _run("predict", *DRAWN, "--height", "2 mm", "--temperature", "40 degC").stdout

    assert "18.96 ohm" in told
    assert "estimate, good to 30 %" in told
    assert "B at 2 mm" in told
    assert "40 degC" in told


def test_predict_says_when_the_frequency_is_beyond_the_model() -> None:
    """Aloud, in the table."""
    assert "ABOVE THE LIMIT" in _run("predict", *DRAWN, "--frequency", "5 MHz").stdout
    assert "ABOVE THE LIMIT" not in _run("predict", *DRAWN, "--frequency", "1 MHz").stdout


def test_predict_takes_the_drawing_of_a_plan() -> None:
    """The same as its dimensions typed in."""
    typed = shlex.split(
        "--layers 2 --turns-per-layer 20 --inner-diameter 3.0mm --track-width 0.12mm --track-gap 0.12mm"
        " --copper 18um --layer-gap 50um"
    )
    at = ("--height", "2 mm", "--json")

    assert _run("predict", *typed, *at).stdout == _run("predict", "--plan", PLAN, *at).stdout


def test_predict_takes_a_polyline(tmp_path: Path) -> None:
    """The square spiral of the independent solver: 0.2474 uH within 0.2 %."""
    table = tmp_path / "spiral.csv"
    table.write_text(square_spiral_table(), encoding="utf-8")

    facts = json.loads(_run("predict", "--polyline", str(table), "--copper", "35um", "--json").stdout)

    assert 2.4738807439042803e-07 == pytest.approx(facts["inductance_h"], rel=2e-3)
    assert facts["quality"] is None


def test_conductivity_and_winding_constant_count() -> None:
    """97 % IACS raises R20 by 1/0.97; k moves the hot resistance only."""
    plain = json.loads(_run("predict", *DRAWN, "--temperature", "60 degC", "--json").stdout)
    other = json.loads(
        _run(
            "predict",
            *DRAWN,
            "--conductivity",
            "97 %",
            "--winding-constant",
            "235",
            "--temperature",
            "60 degC",
            "--json",
        ).stdout
    )

    assert 1 / 0.97 == pytest.approx(other["resistance_20_ohm"] / plain["resistance_20_ohm"])
    assert 295 / 255 == pytest.approx(other["resistance_ohm"] / other["resistance_20_ohm"])


def test_spread_states_contributions_as_json() -> None:
    """Shares of R sum to one; the seed is stated."""
    words = ["--width-tolerance", "15um", "--copper-tolerance", "2um", "--height", "2mm", "--draws", "500", "--json"]
    facts = json.loads(_run("spread", "--plan", PLAN, *words).stdout)
    quantities = {each["name"]: each for each in facts["quantities"]}

    assert 1 == facts["seed"]
    assert {"R20", "R", "L", "B@2mm"} == set(quantities)
    assert 1.0 == pytest.approx(sum(quantities["R20"]["contributions"].values()))


def test_spread_tells_people_who_owns_it() -> None:
    """One row a quantity, rise included when there is a thermal resistance."""
    told = _run(
        "spread", "--plan", PLAN, "--width-tolerance", "15um", "--drive", "2 V", "--thermal-resistance", "60 K/W"
    ).stdout

    assert "100.0 %" in told
    assert "rise" in told


def test_faults_compare_with_the_healthy_coil() -> None:
    """Open, 1, 3 and 10 shorted turns and shorts between the layers."""
    facts = json.loads(_run("faults", *DRAWN, "--frequency", "1 kHz", "--json").stdout)
    coils = {each["coil"]: each for each in facts["coils"]}

    assert -0.031 == pytest.approx(coils["1 middle turn shorted"]["inductance_change"], abs=0.002)
    assert -0.048 == pytest.approx(coils["layer 1 to 2, 5 turns inside"]["resistance_change"], abs=0.002)
    assert coils["open"]["resistance_ohm"] is None
    assert coils["open"]["flux_density_t_per_a"] is None
    assert "open" in _run("faults", *DRAWN).stdout


@pytest.mark.slow
@pytest.mark.parametrize("ending", ["svg", "png"])
@pytest.mark.parametrize(
    "words",
    [("predict", "--height", "2mm"), ("spread", "--width-tolerance", "10um", "--height", "2mm"), ("faults",)],
    ids=["predict", "spread", "faults"],
)
def test_plot_is_written_and_the_same_each_time(tmp_path: Path, words: tuple[str, ...], ending: str) -> None:
    """Two drawings of the same coil are the same bytes."""
    files = [tmp_path / f"{name}.{ending}" for name in ("one", "two")]
    for file in files:
        result = _run(words[0], "--plan", PLAN, *words[1:], "--plot", str(file))

        assert 0 == result.exit_code, result.output

    assert files[0].read_bytes() == files[1].read_bytes()


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["predict"], "missing --turns-per-layer, --inner-diameter"),
        (["predict", "--plan", PLAN, "--layers", "2"], "leave out --layers"),
        (["predict", "--plan", PLAN, "--polyline", "x.csv"], "give one of them"),
        (["predict", *DRAWN, "--sides", "6"], "--sides goes with --shape polygon"),
        (["predict", *DRAWN, "--track-width", "0.1"], "--track-width needs its unit"),
        (["predict", *DRAWN, "--track-gap", "-1um"], "neighbouring turns would touch"),
        (["predict", *DRAWN, "--layers", "1"], "Leave it out"),
        (["predict", *DRAWN, "--winding-senses", "+"], "must be 2 signs"),
        (["predict", *DRAWN, "--conductivity", "0 %"], "--conductivity must be above 0"),
        (["predict", *DRAWN, "--height", "-1 mm"], "height must be 0 or above"),
        (["predict", *DRAWN, "--frequency", "0 Hz"], "frequency must be above 0 Hz"),
        (["predict", *DRAWN, "--temperature", "-300 degC"], "temperature must be above"),
        (["predict", *DRAWN, "--plot", "coil.bmp"], "written as .svg, .png or .pdf"),
        (["spread", *DRAWN], "needs a tolerance at least"),
        (["spread", *DRAWN, "--width-tolerance", "0.2 mm"], "track width must be above 0"),
        (["spread", *DRAWN, "--width-tolerance", "1um", "--drive", "3 K"], "must be a current or a voltage"),
        (["spread", *DRAWN, "--width-tolerance", "1um", "--thermal-resistance", "60"], "with its unit"),
        (["spread", *DRAWN, "--width-tolerance", "1um", "--height", "-1mm"], "height must be 0 or above"),
        (["spread", *DRAWN, "--width-tolerance", "1um", "--drive", "0 mA"], "--drive must be above 0"),
        (["spread", *DRAWN, "--width-tolerance", "1um", "--thermal-resistance", "hot K/W"], "with its unit"),
        (["predict", "--polyline", "x.csv"], "--polyline needs --copper"),
        (["spread", "--polyline", "x.csv", "--width-tolerance", "1um"], "needs turns"),
        (["faults", *DRAWN, "--height", "-1 mm"], "--height must be 0 or above"),
        (["faults", *DRAWN, "--contact", "-1 ohm"], "0 ohm or more"),
    ],
)
def test_refusal_names_the_option_and_what_would_be_right(words: list[str], message: str) -> None:
    """Exit code 2, one message, no traceback."""
    result = _run(*words)

    assert 2 == result.exit_code
    assert message in result.output


def test_file_that_is_no_text_is_refused(tmp_path: Path) -> None:
    """A picture instead of a table."""
    picture = tmp_path / "coil.csv"
    picture.write_bytes(b"\x89PNG\xff\xfe")

    assert "is no text in UTF-8" in _run("predict", "--polyline", str(picture), "--copper", "18um").output


def test_four_layers_take_one_gap_or_three_and_any_winding() -> None:
    """One gap counts for all; opposed layers cancel."""
    four = [word if word != "2" else "4" for word in DRAWN]
    alike = json.loads(_run("predict", *four, "--json").stdout)
    opposed = json.loads(_run("predict", *four, "--winding-senses", "+-+-", "--json").stdout)
    gaps = ["--layer-gap", "82um", "--layer-gap", "82um"]

    assert alike == json.loads(_run("predict", *four, *gaps, "--json").stdout)
    assert opposed["inductance_h"] < 0.05 * alike["inductance_h"]


def test_fault_table_skips_runs_longer_than_the_coil() -> None:
    """Ten shorted turns of a coil of two are no fault of that coil."""
    short = [word if word != "35" else "2" for word in DRAWN]
    facts = json.loads(_run("faults", *short, "--json").stdout)

    assert not any(each["coil"].startswith(("3 ", "10 ")) for each in facts["coils"])


def test_help_has_an_example() -> None:
    """Of each command."""
    for verb in ("predict", "spread", "faults"):
        assert "Example: coilgate coil " + verb in _run(verb, "--help").stdout


def test_predict_takes_the_heights_of_the_plan() -> None:
    """A plan that measures field says where; heights that are asked for go before."""
    plans = json.loads(_run("predict", "--plan", PLAN, "--json").stdout)
    asked = json.loads(_run("predict", "--plan", PLAN, "--height", "3mm", "--json").stdout)

    assert [0.001, 0.002, 0.004, 0.008] == [point["height_m"] for point in plans["field"]]
    assert [0.003] == [point["height_m"] for point in asked["field"]]


def test_spread_says_for_which_drive_the_field_is() -> None:
    """A flux density without its current says nothing."""
    words = ("spread", "--plan", PLAN, "--width-tolerance", "15um", "--draws", "50")

    assert "B at a drive of 100 mA." in _run(*words, "--height", "2mm").stdout
    assert "drive" not in _run(*words).stdout.splitlines()[-1]
