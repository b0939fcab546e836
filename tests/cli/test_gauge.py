"""`coilgate gauge`: published figures as JSON, texts, pages and refusals; no home is touched."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from station.cli.gauge import gauge
from station.core.guard_text import parse_guard
from station.core.plan import Guard
from station.errors import StationError, StudyError
from tests.quality.published import (
    AIAG_ATTRIBUTE,
    AIAG_LINEARITY,
    FLOW_RATES,
    PEAK_FLOW_LARGE,
    PEAK_FLOW_MINI,
    VDA_TYPE1,
    aiag_csv,
)

RISK = (
    *("risk", "--tolerance-lower", "-1", "--tolerance-upper", "1", "--uncertainty", "0.1"),
    *("--process-mean", "0", "--process-deviation", "0.5"),
)


def _run(*words: str) -> Result:
    return CliRunner().invoke(gauge, words)


def _facts(*words: str) -> dict:
    result = _run(*words, "--json")
    assert 0 == result.exit_code, result.output
    assert 1 == result.stdout.count("\n")
    return json.loads(result.stdout)


@pytest.fixture
def aiag(tmp_path: Path) -> str:
    """AIAG's study as a file."""
    file = tmp_path / "aiag.csv"
    file.write_text(aiag_csv(), encoding="utf-8")
    return str(file)


@pytest.mark.slow
def test_study_gives_the_published_figures(aiag: str) -> None:
    """AIAG MSA, 4th edition, chapter III-B, both methods, to the printed digits."""
    facts = _facts("study", aiag, "--tolerance", "8")
    anova, form = facts["anova"], facts["average_range"]

    assert {"part": 88.3619, "appraiser": 3.1673, "interaction": 0.359, "repeatability": 2.7589, "total": 94.6471} == {
        name: round(value, 4) for name, value in anova["sums_of_squares"].items()
    }
    assert 0.434 == round(anova["f"]["interaction"], 3)
    assert anova["pooling"]["pooled"]
    assert (0.302372, 27.9, 4) == (
        round(anova["standard_deviations"]["repeatability_and_reproducibility"], 6),
        round(anova["percent_of_study_variation"]["repeatability_and_reproducibility"], 1),
        anova["distinct_categories"],
    )
    assert 26.68 == round(form["percent_of_study_variation"]["repeatability_and_reproducibility"], 2)
    assert 5 == form["distinct_categories"]
    assert 22.678 == round(anova["percent_of_tolerance"]["repeatability_and_reproducibility"], 3)
    assert [0.0, 0.0] == [anova["models"][name]["variance_components"]["interaction"] for name in anova["models"]]


def test_study_says_first_what_it_comes_to(aiag: str) -> None:
    """The share and the categories stand above the readings and the tables."""
    text = _run("study", aiag, "--tolerance-lower", "-4", "--tolerance-upper", "4").stdout
    places = [
        text.index(words)
        for words in (
            "takes 27.9 %",
            "takes 22.7 % of the tolerance",
            "Readings by unit",
            "Variance shares",
            "sum of squares",
        )
    ]

    assert sorted(places) == places
    assert "Distinct categories: 4 (4.86" in text


def test_study_of_one_appraiser_says_what_it_can_not(aiag: str, tmp_path: Path) -> None:
    """No line about appraisers, but one that says what is missing; one table only."""
    file = tmp_path / "one.csv"
    rows = aiag_csv().splitlines()
    file.write_text("\n".join([rows[0], *(row for row in rows if ",A," in row)]), encoding="utf-8")
    text = _run("study", str(file)).stdout

    assert "1 appraiser, 3 trials" in text
    assert "One appraiser: what another one would read differently is not in these figures." in text
    assert "reproducibility" not in text
    assert 1 == text.count("sum of squares")


def test_study_reads_standard_input() -> None:
    """`-` stands for it."""
    result = CliRunner().invoke(gauge, ["study", "-", "--json"], input=aiag_csv())

    assert 90 == json.loads(result.stdout)["readings"]


@pytest.mark.slow
def test_study_draws_a_page(aiag: str, tmp_path: Path) -> None:
    """And says so on standard error only."""
    page = tmp_path / "page.svg"
    result = _run("study", aiag, "--json", "--plot", str(page))

    assert page.read_text(encoding="utf-8").startswith("<?xml")
    assert json.loads(result.stdout)["parts"] == 10
    assert "drawn" in result.stderr


@pytest.mark.slow
def test_study_needs_no_home(aiag: str, tmp_path: Path) -> None:
    """Run as a program with a home that can't be made: it never asks for one."""
    done = subprocess.run(
        [sys.executable, "-m", "station.cli", "--home", "/dev/null/none", "gauge", "study", aiag, "--json"],
        env={**os.environ, "HOME": str(tmp_path / "nobody")},
        cwd=Path(__file__).parent.parent.parent,
        capture_output=True,
        text=True,
        check=True,
    )

    assert 90 == json.loads(done.stdout)["readings"]
    assert not (tmp_path / "nobody").exists()


def test_study_with_one_limit_takes_it_for_half_a_tolerance(aiag: str) -> None:
    """From the mean to the limit, twice."""
    facts = _facts("study", aiag, "--tolerance-upper", "4")

    assert 2.0 * (4.0 - facts["mean"]) == pytest.approx(facts["tolerance_width"])


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--tolerance", "8", "--tolerance-lower", "-4"), "not both"),
        (("--tolerance-lower", "4", "--tolerance-upper", "-4"), "above 0 wide"),
        (("--tolerance-upper", "-9"), "above 0 wide"),
        (("--tolerance", "nan"), "no finite number"),
        (("--level", "nan"), "no finite number"),
        (("--plot", "page.bmp"), "ends in .svg"),
    ],
)
def test_study_refuses_options_that_make_no_sense(aiag: str, options: tuple[str, ...], words: str) -> None:
    """In one message, with exit code 2."""
    result = _run("study", aiag, *options)

    assert (2, "") == (result.exit_code, result.stdout)
    assert words in result.stderr


def test_study_of_a_bad_file_names_its_lines(tmp_path: Path) -> None:
    """Nothing on standard output; the error has every mistake."""
    file = tmp_path / "bad.csv"
    file.write_text("part,appraiser,trial,value\n1,A,1,x\n1,A,2,9.9E37\n2,A,1,1\n2,A,2,2\n", encoding="utf-8")
    result = _run("study", str(file), "--json")

    assert "" == result.stdout
    assert isinstance(result.exception, StudyError)
    assert [2, 3] == [mistake.line for mistake in result.exception.mistakes]


def test_file_that_is_no_utf8_is_refused(tmp_path: Path) -> None:
    """With the line where it ends to be."""
    file = tmp_path / "bad.csv"
    file.write_bytes(b"part,appraiser,trial,value\n\xb5,A,1,1\n")
    result = _run("study", str(file))

    assert isinstance(result.exception, StudyError)
    assert "bad.csv:2: text: is no UTF-8" in str(result.exception)


def test_order_is_a_study_file_to_fill_in(tmp_path: Path) -> None:
    """What is printed, with values written in, is read as a study."""
    printed = _run("order", "U1", "U2", "U3", "--appraiser", "OP-07", "--appraiser", "OP-09", "--trials", "2").stdout
    rows = printed.splitlines()
    filled = [rows[0], *(f"{row}{7.8 + 0.01 * i * i}" for i, row in enumerate(rows[1:]))]
    file = tmp_path / "filled.csv"
    file.write_text("\n".join(filled), encoding="utf-8")

    assert (3, ["OP-07", "OP-09"], 2) == tuple(
        _facts("study", str(file))[key] for key in ("parts", "appraisers", "trials")
    )


def test_order_refuses_a_part_named_twice() -> None:
    """Exit code 2."""
    result = _run("order", "U1", "U1", "--appraiser", "OP-07")

    assert 2 == result.exit_code
    assert "once only" in result.stderr


def test_type1_gives_the_published_figures(tmp_path: Path) -> None:
    """VDA 5, 2nd edition, 5.2.2.1: Q_MS 10.31 %; Cg by the convention that was asked for."""
    file = tmp_path / "type1.csv"
    file.write_text("value\n" + "\n".join(map(str, VDA_TYPE1)), encoding="utf-8")
    words = ("type1", str(file), "--reference", "6.002", "--tolerance", "0.06", "--resolution", "0.001")
    four = _facts(*words, "--reference-uncertainty", "0.001")
    six = _facts(*words, "--deviations", "6")

    assert 10.31 == round(four["measuring_system"]["q_ms_percent"], 2)
    assert (3.015424266194465, 2.46259648405787) == pytest.approx((four["cg"], four["cgk"]), rel=1e-9)
    assert 2.010282844129643 == pytest.approx(six["cg"], rel=1e-9)
    assert six["measuring_system"] is None
    assert "Q_MS = 10.31 %" in _run(*words, "--reference-uncertainty", "0.001").stdout


def test_type1_needs_a_tolerance(tmp_path: Path) -> None:
    """Cg is a share of it."""
    file = tmp_path / "type1.csv"
    file.write_text("value\n1\n", encoding="utf-8")
    result = _run("type1", str(file), "--reference", "1")

    assert 2 == result.exit_code
    assert "--tolerance" in result.stderr


def test_type1_of_too_few_readings_names_the_file(tmp_path: Path) -> None:
    """The statistics' own words, with the file before them."""
    file = tmp_path / "few.csv"
    file.write_text("value\n1\n2\n", encoding="utf-8")
    result = _run("type1", str(file), "--reference", "1", "--tolerance", "1")

    assert "few.csv: a study of one reference part needs 10 readings" in str(result.exception)


@pytest.mark.slow
def test_linearity_gives_the_published_figures(tmp_path: Path) -> None:
    """AIAG MSA, 4th edition, Table III-B 5; and a page."""
    file = tmp_path / "linearity.csv"
    rows = [f"{reference},{value}" for reference, values in AIAG_LINEARITY.items() for value in values]
    file.write_text("reference,value\n" + "\n".join(rows), encoding="utf-8")
    facts = _facts("linearity", str(file), "--plot", str(tmp_path / "page.png"))

    assert (-0.131667, 0.736667, 0.714) == (
        round(facts["slope"], 6),
        round(facts["intercept"], 6),
        round(facts["r_squared"], 3),
    )
    assert (tmp_path / "page.png").stat().st_size > 1000
    assert "zero leaves the band" in _run("linearity", str(file)).stdout


def test_stability_gives_the_published_limits(tmp_path: Path) -> None:
    """NIST/SEMATECH e-Handbook, 6.3.2.2."""
    file = tmp_path / "stability.csv"
    file.write_text("occasion,value\n" + "\n".join(f"{i},{v}" for i, v in enumerate(FLOW_RATES)), encoding="utf-8")
    facts = _facts("stability", str(file))

    assert (45.8159, 50.81, 55.8041) == tuple(round(facts[key], 4) for key in ("lower", "centre", "upper"))
    assert "All occasions are within the limits" in _run("stability", str(file)).stdout


def test_agreement_names_its_sides_and_counts_the_temperature(tmp_path: Path) -> None:
    """Bland and Altman's meters; a temperature that is not known adds its term."""
    file = tmp_path / "both.csv"
    rows = [f"{i},{a},{b}" for i, (a, b) in enumerate(zip(PEAK_FLOW_MINI, PEAK_FLOW_LARGE, strict=True))]
    file.write_text("part,mini,large\n" + "\n".join(rows), encoding="utf-8")
    words = ("agreement", str(file), "--first-header", "mini", "--second-header", "large")
    plain, warm = _facts(*words), _facts(*words, "--second-temperature-within", "3")

    assert ("mini", "large", -2.1) == (plain["first"], plain["second"], round(plain["bias"], 1))
    assert ["scatter of the units", "temperature of large"] == [term["name"] for term in warm["terms"]]
    assert plain["bias_expanded_uncertainty"] < warm["bias_expanded_uncertainty"]
    assert "difference = large - mini" in _run(*words).stdout


def test_attribute_gives_the_published_figures(tmp_path: Path) -> None:
    """AIAG MSA, 4th edition, Tables III-C; 6.25 % is told as 6.3 %, as printed."""
    rows = ["part,appraiser,trial,decision,reference"]
    for part, line in enumerate(AIAG_ATTRIBUTE):
        reference, *decisions = line.split()
        for name, trials in zip("ABC", decisions, strict=True):
            rows += [f"{part},{name},{trial},{digit},{reference}" for trial, digit in enumerate(trials)]
    file = tmp_path / "attribute.csv"
    file.write_text("\n".join(rows), encoding="utf-8")
    facts = _facts("attribute", str(file))
    text = _run("attribute", str(file)).stdout

    assert [0.88, 0.92, 0.77] == [round(each["kappa_against_reference"]["value"], 2) for each in facts["appraisers"]]
    assert [0.86, 0.78, 0.79] == [round(each["kappa"]["value"], 2) for each in facts["between"]]
    assert 78.0 == facts["all_effective"]["percent"]
    assert 2 == text.count("6.3 %")


@pytest.mark.slow
def test_risk_states_both_risks_and_the_bands_that_hold_one(tmp_path: Path) -> None:
    """Simple acceptance as by quadrature; the bands found hold the stated risk."""
    facts = _facts(*RISK, "--largest-consumers-risk", "0.001", "--plot", str(tmp_path / "risk.pdf"))
    simple, found = facts["rules"][0], facts["largest_consumers_risk"]

    assert 0.006775723041635916 == pytest.approx(simple["consumers_risk"], abs=1e-8)
    assert 0.011135662902184446 == pytest.approx(simple["producers_risk"], abs=1e-8)
    assert 0.001 == pytest.approx(found["global"]["consumers_risk"], rel=1e-6)
    assert 0.001 == pytest.approx(found["specific"]["largest_specific_risk"], rel=1e-6)
    assert (tmp_path / "risk.pdf").read_bytes().startswith(b"%PDF")
    assert "global <= 0.001" in _run(*RISK, "--largest-consumers-risk", "0.001").stdout


def test_risk_says_what_a_plan_would_state() -> None:
    """What it prints is what a plan takes, with units put in."""
    text = _run(*RISK, "--largest-consumers-risk", "0.001").stdout
    stated = [line.split('"')[1] for line in text.splitlines() if line.startswith("guard = ")]

    assert ["specific risk 0.1 %", "global risk 0.1 %, mean 0, standard deviation 0.5"] == stated
    assert Guard(0.0, specific_risk=0.001) == parse_guard(stated[0], "ohm")
    with_units = stated[1].replace("mean 0", "mean 0 ohm").replace("0.5", "0.5 ohm")
    assert Guard(0.0, global_risk=0.001, process_mean=0.0, process_deviation=0.5) == parse_guard(with_units, "ohm")


def test_risk_takes_the_process_from_measured_values(tmp_path: Path) -> None:
    """Their spread less the measurement's own."""
    file = tmp_path / "lot.csv"
    file.write_text("R20\n" + "\n".join(str(8.0 + 0.5 * (-1) ** i) for i in range(400)), encoding="utf-8")
    facts = _facts(
        *("risk", "--tolerance-lower", "6.8", "--uncertainty", "0.3", "--values", str(file), "--value-header", "R20")
    )

    assert (8.0, 0.4) == pytest.approx((facts["process"]["mean"], facts["process"]["standard_deviation"]), rel=5e-3)
    assert facts["tolerance"]["upper"] is None


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (RISK[:-4], "the process is needed"),
        ((*RISK, "--values", "lot.csv"), "not both"),
        (("risk", *RISK[5:]), "a tolerance needs a finite limit"),
        ((*RISK, "--uncertainty", "0"), "standard uncertainty must be"),
        ((*RISK, "--process-deviation", "0"), "standard deviation above 0"),
        ((*RISK, "--largest-consumers-risk", "1"), "not in the range"),
    ],
)
def test_risk_refuses_what_makes_no_sense(words: tuple[str, ...], message: str) -> None:
    """In one message, with exit code 2."""
    result = _run(*words)

    assert (2, "") == (result.exit_code, result.stdout)
    assert message in result.stderr


@pytest.mark.parametrize("verb", sorted(gauge.commands))
def test_every_verb_shows_an_example(verb: str) -> None:
    """Its help has one."""
    assert "Example: coilgate gauge " in _run(verb, "--help").stdout


@pytest.mark.parametrize(("spread", "words"), [(0.01, "under 10, good"), (3.0, "over 30, not fit")])
def test_study_places_the_share_in_aiags_guide(tmp_path: Path, spread: float, words: str) -> None:
    """AIAG MSA, 4th edition, chapter II-D: 10 and 30 %. Here all of the gauge's spread is repeatability."""
    rows = [
        f"{part},{name},{trial},{part + spread * sign * (-1) ** part}"
        for part in range(8)
        for name in "ABCDEF"
        for trial, sign in enumerate((1, -1))
    ]
    file = tmp_path / "study.csv"
    file.write_text("part,appraiser,trial,value\n" + "\n".join(rows), encoding="utf-8")
    text = _run("study", str(file)).stdout

    assert words in text
    assert "Most of it is repeatability" in text
    assert "known no better" not in text


def test_type1_tells_that_readings_are_few_and_resolution_is_coarse(tmp_path: Path) -> None:
    """Twelve readings, a step of a tenth of the tolerance."""
    file = tmp_path / "type1.csv"
    file.write_text("value\n" + "1.0\n1.1\n" * 6, encoding="utf-8")
    text = _run("type1", str(file), "--reference", "1", "--tolerance", "1", "--resolution", "0.1").stdout

    assert "12 readings are few" in text
    assert "10.0 % of the tolerance, too coarse" in text


def test_type1_with_one_limit_is_refused(tmp_path: Path) -> None:
    """A width has two ends."""
    file = tmp_path / "type1.csv"
    file.write_text("value\n" + "1.0\n1.1\n" * 6, encoding="utf-8")

    assert "give both" in _run("type1", str(file), "--reference", "1", "--tolerance-lower", "0").stderr


@pytest.mark.slow
def test_agreement_draws_a_page_and_tells_of_a_slope(tmp_path: Path) -> None:
    """A gain error of 2 %."""
    file = tmp_path / "both.csv"
    rows = [f"{i},{i + 1},{(i + 1) * 1.02 + 0.001 * (-1) ** i}" for i in range(20)]
    file.write_text("part,first,second\n" + "\n".join(rows), encoding="utf-8")
    result = _run("agreement", str(file), "--plot", str(tmp_path / "page.svg"))

    assert "one bias for all is too simple" in result.stdout
    assert (tmp_path / "page.svg").exists()


@pytest.mark.slow
@pytest.mark.parametrize("ending", ["pdf", "html"])
def test_study_writes_a_report_that_is_the_same_each_time(aiag: str, tmp_path: Path, ending: str) -> None:
    """And says so on standard error only."""
    report = tmp_path / f"study.{ending}"
    result = _run("study", aiag, "--json", "--tolerance", "8", "--report", str(report))
    first = report.read_bytes()
    _run("study", aiag, "--json", "--tolerance", "8", "--report", str(report))

    assert first == report.read_bytes()
    assert 10 == json.loads(result.stdout)["parts"]
    assert "report" in result.stderr


@pytest.mark.slow
def test_report_of_a_simulated_file_is_marked_and_dated(tmp_path: Path) -> None:
    """By the file's own columns; `--date` and `--simulated` say it for files without them."""
    rows = aiag_csv().splitlines()
    file, report = tmp_path / "bench.csv", tmp_path / "study.html"
    lines = [f"{rows[0]},simulated,utc,unit", *(f"{row},1,2026-11-25T08:00:00Z,mm" for row in rows[1:])]
    file.write_text("\n".join(lines), encoding="utf-8")
    _run("study", str(file), "--report", str(report))
    own = report.read_text(encoding="utf-8")
    file.write_text(aiag_csv(), encoding="utf-8")
    _run("study", str(file), "--date", "2026-11-24", "--simulated", "--report", str(report))
    told = report.read_text(encoding="utf-8")

    assert [True, True] == ["SIMULATED" in own, "SIMULATED" in told]
    assert [True, True] == ["2026-11-25" in own, "2026-11-24" in told]
    assert "<dt>Unit of measurement</dt><dd>mm</dd>" in own


@pytest.mark.slow
def test_reports_of_the_other_studies_are_written(tmp_path: Path) -> None:
    """Type 1, linearity, stability."""
    one, line, time = (tmp_path / name for name in ("one.csv", "line.csv", "time.csv"))
    one.write_text("value\n" + "\n".join(map(str, VDA_TYPE1)), encoding="utf-8")
    pairs = [f"{reference},{value}" for reference, values in AIAG_LINEARITY.items() for value in values]
    line.write_text("reference,value\n" + "\n".join(pairs), encoding="utf-8")
    time.write_text(
        "occasion,value\n" + "\n".join(f"{i},{1.0 + 0.01 * (i % 3) + 0.001 * j}" for i in range(12) for j in range(3)),
        encoding="utf-8",
    )
    words = (
        ("type1", str(one), "--reference", "6.002", "--tolerance", "0.06"),
        ("linearity", str(line)),
        ("stability", str(time)),
    )
    for each in words:
        report = tmp_path / f"{each[0]}.html"
        result = _run(*each, "--report", str(report))

        assert (0, True) == (result.exit_code, "What to do next" in report.read_text(encoding="utf-8")), result.output


def test_report_of_an_unknown_ending_is_refused_before_any_work(tmp_path: Path) -> None:
    """The file is not even read."""
    result = _run("study", str(tmp_path / "missing.csv"), "--report", "study.docx")

    assert isinstance(result.exception, StationError)
    assert "a report ends in .pdf or .html" in str(result.exception)
