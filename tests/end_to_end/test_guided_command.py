"""`coilgate gauge measure` as its users meet it: own processes, a simulated bench on real ports, scans from a pipe."""

import json
import re
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from station.data import data_path
from tests.end_to_end.test_command_line import COILGATE, LONGEST_S, coilgate

pytestmark = pytest.mark.slow
UNITS = ("L2641-02-A05", "L2641-02-B10", "L2641-02-F06")
APPRAISERS = ("--appraiser", "OP-07", "--appraiser", "OP-09")
STUDY = ("gauge", "measure", *UNITS, "--method", "resistance", *APPRAISERS, "--trials", "2", "--seed", "3")


@dataclass(frozen=True)
class Place:
    """A home, and the bench file of a simulated bench that is being served."""

    home: Path
    bench: Path

    def run(self, *arguments: str, stdin: str = "") -> subprocess.CompletedProcess[str]:
        """Run one command to its end."""
        return coilgate("--home", str(self.home), *arguments, stdin=stdin)

    def started(self, *arguments: str) -> "subprocess.Popen[str]":
        """Start one command on the bench, with pipes."""
        command = [*COILGATE, "--home", str(self.home), *arguments, "--bench", str(self.bench)]
        pipe = subprocess.PIPE
        return subprocess.Popen(command, stdin=pipe, stdout=pipe, stderr=pipe, text=True)


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Place]:
    """Serve a simulated bench, release the plan; the bench is not verified, which a study may be made of."""
    home = tmp_path_factory.mktemp("place")
    command = [*COILGATE, "--home", str(home), "bench", "simulate", "--speed", "100"]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        assert server.stdout is not None
        assert server.stderr is not None
        path = Path(server.stdout.readline().removeprefix("# ").strip())
        assert server.stderr.readline().startswith("Serving")
        found = Place(home, path)
        plan = str(data_path("plans/IS-20.toml"))
        released = found.run("plan", "release", plan, "--who", "EN-02", "--why", "first release")
        assert released.returncode == 0, released.stderr
        yield found
    finally:
        server.terminate()
        server.communicate(timeout=LONGEST_S)


def read_until(process: "subprocess.Popen[str]", words: str, *, times: int = 1) -> str:
    """Return what a command said on standard error up to the so-many-th line with these words."""
    assert process.stderr is not None
    seen = ""
    while seen.count(words) < times:
        line = process.stderr.readline()
        assert line, seen
        seen += line
    return seen


def name_in(text: str) -> str:
    """Return the study's name."""
    found = re.search(r"Study (G\d+)", text)
    assert found is not None, text
    return found.group(1)


def test_study_by_the_simulated_operator_ends_in_results_and_a_file(place: Place, tmp_path: Path) -> None:
    """Exit code 0; the file that is named gives `gauge study` the same figures; nobody saw a reading before."""
    target = tmp_path / "readings.csv"
    done = place.run(
        *STUDY, "--bench", str(place.bench), "--simulated-operator", "--to", str(target), "--json", "--why", "a test"
    )
    assert 0 == done.returncode, done.stderr
    fact = json.loads(done.stdout)
    limits = ("--tolerance-lower", "6.8", "--tolerance-upper", "9.2")
    again = json.loads(place.run("gauge", "study", str(target), *limits, "--json").stdout)
    found = fact["results"]["R20"]

    assert (12, 12, True, "a test") == (fact["readings"], fact["taken"], fact["complete"], fact["why"])
    assert again["anova"]["variance_components"] == pytest.approx(found["anova"]["variance_components"])
    assert again["tolerance_width"] == pytest.approx(found["tolerance_width"])
    assert "the bench is not verified" in done.stderr
    assert not re.search(r"\b[78]\.\d", done.stderr)


def test_scans_from_a_pipe_guide_through_a_study(place: Place) -> None:
    """Wrong badge, wrong unit, a handover; then a Ctrl-C at the prompt: the study says how to go on, and does."""
    running = place.started(*STUDY)
    assert running.stdin is not None
    running.stdin.write("OP-55\nOP-07\n")
    running.stdin.flush()
    seen = read_until(running, "is next")
    first = re.findall(r"OP-07, 1 of 6: (\S+) is next", seen)[0]
    other = next(each for each in UNITS if each != first)
    running.stdin.write(f"{other}\n{first}\n")
    running.stdin.flush()
    seen += read_until(running, "OP-07, 2 of 6")
    running.send_signal(2)
    out, rest = running.communicate(timeout=LONGEST_S)
    name = name_in(seen)
    listed = place.run("gauge", "show").stdout
    hidden = place.run("gauge", "show", name)
    went_on = place.run("gauge", "measure", "--resume", name, "--bench", str(place.bench), "--simulated-operator")

    assert (2, "") == (running.returncode, out)
    assert "OP-55 takes no part" in seen
    assert f"'{other}' is another unit of this study" in seen
    assert f"gauge measure --resume {name} --bench {place.bench}" in rest
    assert re.search(rf"{name} .* 1 of 12", listed)
    assert (2, "") == (hidden.returncode, hidden.stdout)
    assert 0 == went_on.returncode, went_on.stderr
    assert "11 readings to take" in went_on.stderr
    assert "% of the tolerance" in went_on.stdout


def test_ctrl_c_is_noticed_while_a_scan_is_waited_for(place: Place) -> None:
    """`unit measure -` ends with one line that says why; nobody has to scan once more, and the input stays open."""
    running = place.started("unit", "measure", "-")
    assert running.stdin is not None
    assert running.stdout is not None
    assert running.stderr is not None
    running.stdin.write("L2641-02-C09\n")
    running.stdin.flush()
    assert running.stdout.readline().startswith("L2641-02-C09")  # decided: now it waits
    running.send_signal(2)
    error = running.stderr.read()
    code = running.wait(LONGEST_S)
    running.communicate()

    assert 2 == code
    assert "coilgate: stopped by signal SIGINT" in error
    assert "error of the program" not in error


def test_killed_study_goes_on_where_it_was(place: Place) -> None:
    """SIGKILL in the middle of a run: what was taken stays, the unfinished run is none of it."""
    running = place.started(*STUDY, "--simulated-operator")
    seen = read_until(running, "2 of 2: resistance", times=4)
    running.kill()
    running.communicate(timeout=LONGEST_S)
    name = name_in(seen)
    (fact,) = [
        each for each in json.loads(place.run("gauge", "show", "--json").stdout)["studies"] if each["study"] == name
    ]
    went_on = place.run(
        "gauge", "measure", "--resume", name, "--bench", str(place.bench), "--simulated-operator", "--json"
    )
    checked = place.run("records", "check")

    assert fact["taken"] in (3, 4)  # the fourth may have been recorded before the kill came
    assert f"{12 - fact['taken']} readings to take" in went_on.stderr
    assert json.loads(went_on.stdout)["complete"]
    assert 0 == checked.returncode, checked.stdout


def test_type1_study_writes_a_report(place: Place, tmp_path: Path) -> None:
    """One reference unit against its assigned value, ten times: Cg, and a page."""
    report = tmp_path / "type1.html"
    done = place.run(
        "gauge", "measure", "L2600-01-A01", "--characteristic", "R20", "--appraiser", "EN-02", "--trials", "10",
        "--bench", str(place.bench), "--simulated-operator", "--report", str(report),
    )  # fmt: skip

    assert 0 == done.returncode, done.stderr
    assert "Cgk" in done.stdout
    assert "7.051" in done.stdout
    assert "SIMULATED" in report.read_text()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (STUDY, "no bench is taken by default"),
        ((*STUDY, "--resume", "G0001"), "leave the rest out"),
        (("gauge", "measure", "--resume", "G9999", "--bench", "x.toml"), "'G9999' is not on record"),
        ((*STUDY, "--to", "readings.txt"), "readings go to a file .csv"),
        ((*STUDY, "--report", "study.doc"), "ends in .pdf or .html"),
        (("gauge", "show", "G9999"), "'G9999' is not on record"),
    ],
)
def test_what_can_not_be_done_is_told_at_once(arguments: tuple[str, ...], words: str, tmp_path: Path) -> None:
    """Exit code 2, one message, nothing on standard output."""
    done = coilgate("--home", str(tmp_path / "home"), *arguments)

    assert (2, "") == (done.returncode, done.stdout)
    assert words in done.stderr
    assert "Traceback" not in done.stderr


