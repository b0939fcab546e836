"""`coilgate lot capability`, `chart`, `compare`, `spread`: on records and on files, as JSON, text, pages, refusals."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from station.cli.main import cli
from station.core.results import Decision
from station.errors import RecordError, StationError, StudyError
from station.records import Records
from tests.cli.lots import record_lot
from tests.quality.published_process import NIST_FLOW, PISTON_RINGS
from tests.records.makers import make_opened, make_record


def _run(home: Path, *words: str) -> Result:
    return CliRunner().invoke(cli, ["--home", str(home), *words])


def _facts(home: Path, *words: str) -> dict:
    result = _run(home, *words, "--json")
    assert 0 == result.exit_code, result.output
    assert 1 == result.stdout.count("\n")
    return json.loads(result.stdout)


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two lots on record: L2641 of 3 panels at 8.0 ohm, L2642 of 2 at 8.3."""
    folder = tmp_path_factory.mktemp("home")
    record_lot(folder, "L2641", 3)
    record_lot(folder, "L2642", 2, mean_ohm=8.3, seed=2)
    return folder


@pytest.fixture
def rings(tmp_path: Path) -> Path:
    """The piston rings as a spreadsheet would have them."""
    file = tmp_path / "rings.csv"
    rows = [f"{i + 1};{value:.3f}".replace(".", ",") for i, row in enumerate(PISTON_RINGS) for value in row]
    file.write_text("panel;diameter\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return file


@pytest.mark.slow
def test_capability_of_a_file_has_the_published_figures(home: Path, rings: Path) -> None:
    """Montgomery's rings, decimal commas and semicolons: Cp 1.70 (there by ranges; by s within 3 %)."""
    words = ("--values", str(rings), "--value-header", "diameter", "--lower", "73.95", "--upper", "74.05")
    fact = _facts(home, "lot", "capability", *words)["characteristics"]["diameter"]

    assert 1.70 == pytest.approx(fact["Cp"]["value"], rel=0.03)
    assert "mean standard deviation / c4" == fact["within_convention"]
    assert fact["Ppk"]["low"] < fact["Ppk"]["value"] < fact["Ppk"]["high"]
    assert str(rings) in fact["population"]


def test_capability_of_a_lot_takes_limits_from_its_plan(home: Path) -> None:
    """Plan IS-20: 6.8 to 9.2 ohm; the figures are those of the recorded values."""
    values = np.array(list(_serial_values(home, "L2641").values()))
    fact = _facts(home, "lot", "capability", "L2641", "--characteristic", "R20")["characteristics"]["R20"]

    assert (6.8, 9.2, "plan IS-20") == (fact["lower"], fact["upper"], fact["limits_from"])
    assert 2.4 / (6 * values.std(ddof=1)) == pytest.approx(fact["Pp"]["value"])
    assert "units of lot L2641 with a measured R20" == fact["population"]


def _serial_values(home: Path, lot: str) -> dict[str, float]:
    with Records.open(home) as records:
        found = records.lot_values(lot, "R20")
    return dict(zip(found.serials, found.values.tolist(), strict=True))


def test_capability_of_all_characteristics_says_which_have_none(home: Path) -> None:
    """One that was not measured, or never varies, does not keep the others back."""
    facts = _facts(home, "lot", "capability", "L2641")

    assert ["R20"] == list(facts["characteristics"])
    assert "no unit has a value" == facts["not_stated"]["B@8mm"]
    assert "nothing varies" in facts["not_stated"]["L"]


def test_capability_text_names_route_and_population(home: Path) -> None:
    """What the figures rest on is part of them."""
    text = _run(home, "lot", "capability", "L2641", "--characteristic", "R20").stdout

    assert "Lot L2641 (simulated), R20: 288 units." in text
    assert "Route: normal" in text
    assert "Population: units of lot L2641 with a measured R20." in text


def test_limits_given_need_their_unit_for_a_lot(home: Path) -> None:
    """A bare 6.8 could be ohm or milliohm."""
    result = _run(home, "lot", "capability", "L2641", "--characteristic", "R20", "--lower", "6.8")

    assert 2 == result.exit_code
    assert "needs its unit" in result.output


def test_capability_without_limits_is_refused(home: Path, tmp_path: Path) -> None:
    """A file has no plan."""
    file = tmp_path / "v.csv"
    file.write_text("value\n" + "\n".join(map(str, NIST_FLOW)), encoding="utf-8")
    error = _run(home, "lot", "capability", "--values", str(file)).exception

    assert isinstance(error, StationError)
    assert "Give --lower or --upper" in str(error)


def test_field_that_is_no_number_is_named_with_its_line(home: Path, tmp_path: Path) -> None:
    """File, line, column, what would be right."""
    file = tmp_path / "v.csv"
    file.write_text("value\n7.9\n8.1 ohm\n", encoding="utf-8")
    error = _run(home, "lot", "capability", "--values", str(file), "--lower", "6", "--upper", "9").exception

    assert isinstance(error, StudyError)
    assert "v.csv:3: value" in str(error)


def test_chart_of_a_file_is_nists(home: Path, tmp_path: Path) -> None:
    """NIST e-Handbook 6.3.2.2, to the rounding of d2; a file of one column needs no header of ours."""
    file = tmp_path / "flow.csv"
    file.write_text("flow\n" + "\n".join(map(str, NIST_FLOW)), encoding="utf-8")
    values = _facts(home, "lot", "chart", "--values", str(file))["charts"][0]

    assert (45.8159, 50.81, 55.8041) == pytest.approx(
        (values["lower"][0], values["centre"][0], values["upper"][0]), abs=2e-3
    )
    assert list(NIST_FLOW) == values["points"]


def test_chart_names_the_unit_that_completes_a_pattern(home: Path) -> None:
    """Index and serial of a signal belong together, for moving ranges too."""
    charts = _facts(home, "lot", "chart", "L2641")["charts"]
    serials = list(_serial_values(home, "L2641"))
    for chart, offset in zip(charts, (0, 1), strict=True):
        for signal in chart["signals"]:
            assert serials[signal["index"] + offset] == signal["at"]
    beyond = [each["index"] for each in charts[0]["signals"] if each["rule"] == "one point beyond the limits"]
    points, upper, lower = (np.array(charts[0][name]) for name in ("points", "upper", "lower"))

    assert np.flatnonzero((points > upper) | (points < lower)).tolist() == beyond


@pytest.mark.parametrize("words", [("--kind", "means"), ("--kind", "means", "--subgroup", "5"), ("--kind", "ewma")])
def test_charts_have_points_within_and_population(home: Path, words: tuple[str, ...]) -> None:
    """Panels, subgroups in order, moving averages."""
    fact = _facts(home, "lot", "chart", "L2641", *words)

    assert all(len(chart["points"]) == len(chart["upper"]) for chart in fact["charts"])
    assert all("lot L2641" in chart["population"] for chart in fact["charts"])


def test_subgroup_that_is_not_full_is_left_out_and_told(home: Path) -> None:
    """288 units make 57 subgroups of 5; 3 are left."""
    chart = _facts(home, "lot", "chart", "L2641", "--kind", "means", "--subgroup", "5")["charts"][0]

    assert 57 == len(chart["points"])
    assert chart["population"].endswith("less the last 3, which make no whole subgroup")


def test_cusum_text_names_the_first_unit(home: Path) -> None:
    """Where the shift showed first."""
    text = _run(home, "lot", "chart", "L2641", "--kind", "cusum").stdout

    assert "points pass the decision value, first L2641-" in text


def test_compare_finds_the_shift_between_lots(home: Path) -> None:
    """0.3 ohm apart, less what panels add; the interval is Welch's."""
    fact = _facts(home, "lot", "compare", "L2641", "L2642")
    first, second = (np.array(list(_serial_values(home, lot).values())) for lot in ("L2641", "L2642"))
    against = fact["against_first"]["L2642"]

    assert second.mean() - first.mean() == pytest.approx(against["difference"])
    assert against["low"] < against["difference"] < against["high"]
    assert {"L2641", "L2642"} == set(fact["lots"])


def test_compare_of_one_lot_is_refused(home: Path) -> None:
    """There must be something to compare with."""
    assert 2 == _run(home, "lot", "compare", "L2641").exit_code


def test_spread_finds_gradient_and_sources(home: Path) -> None:
    """0.02 ohm a column was put in; sources add up; the gauge's share is what was said."""
    fact = _facts(home, "lot", "spread", "L2641", "L2642", "--gauge", "4 mohm")
    sources = {each["source"]: each for each in fact["components"]}

    assert ["lot", "panel", "within panel", "gauge"] == list(sources)
    assert 0.004 == pytest.approx(sources["gauge"]["standard_deviation"])
    assert 1.0 == pytest.approx(sum(each["share"] for each in fact["components"]))
    assert 0.02 == pytest.approx(fact["panel_map"]["per_column"], abs=4 * fact["panel_map"]["per_column_error"])


@pytest.mark.slow
@pytest.mark.parametrize(
    ("words", "ending"),
    [
        (("capability", "L2641", "--characteristic", "R20"), "svg"),
        (("chart", "L2641"), "svg"),
        (("chart", "L2641", "--kind", "cusum"), "png"),
        (("compare", "L2641", "L2642"), "svg"),
        (("spread", "L2641"), "png"),
    ],
)
def test_page_is_drawn_the_same_each_time(home: Path, tmp_path: Path, words: tuple[str, ...], ending: str) -> None:
    """Same values, same bytes."""
    files = [tmp_path / f"{name}.{ending}" for name in "ab"]
    for file in files:
        assert 0 == _run(home, "lot", *words, "--plot", str(file)).exit_code

    assert files[0].read_bytes() == files[1].read_bytes()


def test_page_of_unknown_kind_is_refused_before_work(home: Path) -> None:
    """The ending says the kind."""
    result = _run(home, "lot", "chart", "L9999", "--plot", "chart.gif")

    assert 2 == result.exit_code
    assert ".svg, .pdf or .png" in result.output


def test_unknown_lot_is_told(home: Path) -> None:
    """One clear error."""
    error = _run(home, "lot", "chart", "L9999").exception

    assert isinstance(error, RecordError)
    assert "'L9999' is not on record" in str(error)


@pytest.mark.parametrize("words", [("capability",), ("chart", "L2641", "--values", "x.csv")])
def test_lot_or_file_is_needed_and_not_both(home: Path, words: tuple[str, ...]) -> None:
    """Nothing is guessed."""
    result = _run(home, "lot", *words)

    assert 2 == result.exit_code
    assert "one of them" in result.output


def test_show_has_intervals_of_yield_and_reasons(tmp_path: Path) -> None:
    """3 of 4 decided units pass; the failed one's reason is named, and the one that was not measured apart."""
    outcomes = {"A": Decision.PASS, "B": Decision.PASS, "C": Decision.PASS, "D": Decision.FAIL, "E": Decision.INVALID}
    with Records.open(tmp_path) as records:
        for serial, decision in outcomes.items():
            opened = make_opened(serial)
            records.open_run(opened)
            records.close_run(make_record(opened, decision=decision, results=3))
    fact = _facts(tmp_path, "lot", "show", "L2641")
    text = _run(tmp_path, "lot", "show", "L2641").stdout

    assert (0.194, 0.994) == pytest.approx(fact["yield_interval"]["exact"], abs=5e-4)
    assert [{"reason": "R20.upper", "units": 1, "share": 1.0, "cumulative": 1.0}] == fact["fail_reasons"]
    assert ["contact_open"] == [each["reason"] for each in fact["invalid_reasons"]]
    assert "Yield 75.0% (95%: 19.4% to 99.4%)" in text
    assert "First-pass yield 60.0%" in text


def test_texts_say_the_same_as_the_facts(home: Path) -> None:
    """Tables of several characteristics, lots beside each other, sources of spread."""
    several = _run(home, "lot", "capability", "L2641").stdout
    beside = _run(home, "lot", "compare", "L2641", "L2642").stdout
    spread = _run(home, "lot", "spread", "L2641", "L2642", "--gauge", "4 mohm").stdout
    chart = _run(home, "lot", "chart", "L2641", "--kind", "means").stdout

    assert "Not stated: B@8mm: no unit has a value" in several
    assert "Populations: units of lot L2641 with a measured R20; units of lot L2642" in beside
    assert "4.00 mohm" in spread
    assert "Gradient: " in spread
    assert "No pattern" in chart


def test_spread_of_a_lot_without_places_says_what_it_can_not_tell(tmp_path: Path) -> None:
    """One panel, one place: no components and no map, but the rest."""
    generator = np.random.default_rng(5)
    with Records.open(tmp_path) as records:
        for i, value in enumerate(generator.normal(8.0, 0.1, 30)):
            opened = make_opened(f"U{i:02d}")
            records.open_run(opened)
            records.close_run(make_record(opened, r20_ohm=float(value), results=1))
    fact = _facts(tmp_path, "lot", "spread", "L2641")

    assert (None, None) == (fact["components"], fact["panel_map"])
    assert fact["drift"] is not None
    assert 2 == len(fact["missing"])


def test_population_passed_leaves_out_what_fails(tmp_path: Path) -> None:
    """Capability of what is delivered is another figure than that of what is made."""
    with Records.open(tmp_path) as records:
        for i in range(20):
            opened = make_opened(f"U{i:02d}")
            records.open_run(opened)
            decision = Decision.FAIL if i >= 15 else Decision.PASS
            records.close_run(make_record(opened, r20_ohm=8.0 + 0.1 * i, decision=decision, results=1))
    limits = ("--characteristic", "R20", "--lower", "6.8 ohm", "--upper", "9.2 ohm")
    made = _facts(tmp_path, "lot", "capability", "L2641", *limits)["characteristics"]["R20"]
    passed = _facts(tmp_path, "lot", "capability", "L2641", *limits, "--population", "passed")["characteristics"]["R20"]

    assert (20, 15) == (made["units"], passed["units"])
    assert "that pass and are not held" in passed["population"]


def test_odd_units_keep_an_index_back_until_they_are_left_out(tmp_path: Path) -> None:
    """A broken coil among good ones: no index rather than a wrong one; with it left out, one of the rest."""
    values = np.append(np.random.default_rng(6).normal(8.0, 0.05, 59), 6.9)
    with Records.open(tmp_path) as records:
        for i, value in enumerate(values):
            opened = make_opened(f"U{i:02d}")
            records.open_run(opened)
            records.close_run(make_record(opened, r20_ohm=float(value), results=1))
    limits = ("lot", "capability", "L2641", "--characteristic", "R20", "--lower", "6.8 ohm", "--upper", "9.2 ohm")
    whole = _facts(tmp_path, *limits)["characteristics"]["R20"]
    rest = _facts(tmp_path, *limits, "--without-odd")["characteristics"]["R20"]

    assert (60, "none", None) == (whole["units"], whole["route"], whole["Ppk"])
    assert (59, "normal") == (rest["units"], rest["route"])
    assert "less 1 odd" in rest["population"]
