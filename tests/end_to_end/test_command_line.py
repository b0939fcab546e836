"""The command line as a user meets it: its own process, a simulated bench in another, real sockets and ttys."""

import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from station.data import data_path

PLAN = data_path("plans/IS-20.toml")
COILGATE = (sys.executable, "-m", "station.cli")
LONGEST_S = 120

pytestmark = pytest.mark.slow


@dataclass(frozen=True)
class Shop:
    """A home, and the bench file of a simulated bench that is being served."""

    home: Path
    bench: Path

    def run(self, *arguments: str, stdin: str = "") -> subprocess.CompletedProcess[str]:
        """Run one command to its end."""
        return coilgate("--home", str(self.home), *arguments, stdin=stdin)


def coilgate(*arguments: str, stdin: str = "") -> subprocess.CompletedProcess[str]:
    """Run `coilgate` with arguments; never with this process's own settings."""
    environment = {key: value for key, value in os.environ.items() if not key.startswith("COILGATE")}
    return subprocess.run(
        [*COILGATE, *arguments],
        input=stdin,
        capture_output=True,
        text=True,
        timeout=LONGEST_S,
        env=environment,
        check=False,
    )


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    """Serve a simulated bench, release the plan, verify the bench."""
    home = tmp_path_factory.mktemp("shop")
    server = subprocess.Popen(
        [*COILGATE, "--home", str(home), "bench", "simulate", "--speed", "50"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert server.stdout is not None
        assert server.stderr is not None
        path = Path(server.stdout.readline().removeprefix("# ").strip())
        assert server.stderr.readline().startswith("Serving")
        place = Shop(home, path)
        released = place.run("plan", "release", str(PLAN), "--who", "EN-02", "--why", "first release")
        assert released.returncode == 0, released.stderr
        verified = place.run("bench", "verify", "--bench", str(path), "--operator", "OP-07")
        assert verified.returncode == 0, verified.stdout + verified.stderr
        yield place
    finally:
        server.terminate()
        server.communicate(timeout=LONGEST_S)


def test_measure_gives_results_and_show_gives_them_again(shop: Shop) -> None:
    """One JSON object with R20, L and field, uncertainty, decision and bin; the record says the same."""
    done = shop.run("unit", "measure", "L2641-02-A05", "--bench", str(shop.bench), "--json")
    measured = json.loads(done.stdout)
    shown = json.loads(shop.run("unit", "show", "L2641-02-A05", "--json").stdout)

    assert 0 == done.returncode, done.stderr
    assert "PASS" == measured["decision"]
    for name in ("R20", "L", "B@1mm", "B@8mm"):
        assert measured["results"][name]["expanded_uncertainty"] > 0
    assert isinstance(measured["bin"], int)
    for key in ("results", "decision", "bin", "run", "plan_hash"):
        assert measured[key] == shown[key]
    assert any("FETC?" in each["data"] for each in shown["messages"])
    assert re.fullmatch("[0-9a-f]{64}", shown["plan_hash"])


def test_scans_from_standard_input(shop: Shop) -> None:
    """With `-` each line is a scan; a wrong one is refused and the next is measured; 2 beats 0."""
    scans = "L2641-02-B10\nOP-07\nL9999-01-A01\nL2641-02-F06\n"
    done = shop.run("unit", "measure", "-", "--bench", str(shop.bench), "--lot", "L2641", "--json", stdin=scans)
    facts = [json.loads(line) for line in done.stdout.splitlines()]

    assert 2 == done.returncode
    assert ["PASS", None, None, "PASS"] == [each["decision"] for each in facts]
    assert "L9999" in facts[2]["refused"]


def test_units_go_into_trays_and_their_pockets_on_record(shop: Shop) -> None:
    """A tray by option, the next by scan; the record knows each pocket, and a hand corrects one."""
    scans = "L2641-03-A01\nT8\nL2641-03-A03\n"
    done = shop.run(
        "unit", "measure", "-", "--bench", str(shop.bench), "--tray", "T7", "--json", stdin=scans
    )
    facts = [json.loads(line) for line in done.stdout.splitlines()]
    corrected = shop.run("unit", "place", "L2641-03-A03", "--tray", "T8", "--pocket", "4", "--who", "OP-07")
    tray = json.loads(shop.run("unit", "tray", "T8", "--json").stdout)
    shown = shop.run("unit", "show", "L2641-03-A01")

    assert 0 == done.returncode, done.stderr
    assert [("T7", 1), ("T8", 1)] == [(each["tray"], each["pocket"]) for each in facts]
    assert "Tray T8 takes units that pass." in done.stderr
    assert 0 == corrected.returncode, corrected.stderr
    assert [("L2641-03-A03", 4)] == [(each["serial"], each["pocket"]) for each in tray["units"]]
    assert ", tray T7, pocket 1." in shown.stdout


def test_a_unit_that_is_judged_already_is_refused(shop: Shop) -> None:
    """A second scan measures nothing and says where the unit belongs; a repeat is asked for by name."""
    first = shop.run("unit", "measure", "L2641-02-G11", "--bench", str(shop.bench))
    second = shop.run("unit", "measure", "L2641-02-G11", "--bench", str(shop.bench))
    repeat = shop.run("unit", "measure", "L2641-02-G11", "--bench", str(shop.bench), "--repeat")

    assert [0, 2, 0] == [each.returncode for each in (first, second, repeat)]
    assert "judged already" in second.stderr
    assert "--repeat" in second.stderr


def test_a_failing_unit_exits_1_and_an_unknown_one_2(shop: Shop) -> None:
    """FAIL is about the unit; a serial that the simulated shelf doesn't have is ours."""
    failing = shop.run("unit", "measure", "L2641-01-B03", "--bench", str(shop.bench))
    unknown = shop.run("unit", "measure", "L2641-99-A01", "--bench", str(shop.bench), "--load-timeout", "5")

    assert 1 == failing.returncode
    assert "x fail" in failing.stdout
    assert 2 == unknown.returncode
    assert "L2641-99-A01" in unknown.stderr


def test_lot_show_has_its_keys_and_export_writes_a_row_a_unit(shop: Shop, tmp_path: Path) -> None:
    """`lot show --json` has the documented keys; CSV and Parquet hold as many rows as units."""
    shop.run("unit", "measure", "L2641-02-H04", "--bench", str(shop.bench))
    fact = json.loads(shop.run("lot", "show", "L2641", "--json").stdout)
    csv = shop.run("lot", "export", "L2641", "--to", str(tmp_path / "lot.csv"))
    parquet = shop.run("lot", "export", "L2641", "--to", str(tmp_path / "lot.parquet"), "--json")

    assert {"lot", "units", "pass", "fail", "invalid", "held", "yield"} <= set(fact)
    assert fact["units"] == fact["pass"] + fact["fail"] + fact["invalid"]
    assert 0 == csv.returncode, csv.stderr
    assert fact["units"] == len((tmp_path / "lot.csv").read_text().splitlines()) - 1
    assert fact["units"] == json.loads(parquet.stdout)["rows"]


def test_bench_check_finds_a_sound_bench_sound(shop: Shop) -> None:
    """Every check of the simulated bench is sound, remote sense included."""
    done = shop.run("bench", "check", "--bench", str(shop.bench), "--json")
    checks = {each["check"]: each["sound"] for each in map(json.loads, done.stdout.splitlines())}

    assert 0 == done.returncode, done.stdout
    assert checks["remote sense"]
    assert all(checks.values())


def test_plain_visa_and_serial_clients_reach_the_simulated_bench(shop: Shop) -> None:
    """Anyone's client: an identity and a measurement by pyvisa, a temperature by pyserial, no driver of ours."""
    import pyvisa
    import serial

    text = shop.bench.read_text()
    address = dict(re.findall(r'name = "(\S+)"\nkind = .*\naddress = "(\S+)"', text))
    manager = pyvisa.ResourceManager("@py")
    meter = manager.open_resource(
        address["lcr-1"], read_termination="\n", write_termination="\n", timeout=5_000
    )
    try:
        identity = meter.query("*IDN?")  # type: ignore[attr-defined]
        meter.write("FUNC RDC")  # type: ignore[attr-defined]
        meter.write("TRIG")  # type: ignore[attr-defined]
        reading = meter.query("FETC?")  # type: ignore[attr-defined]
    finally:
        meter.close()
        manager.close()
    device = address["thermometer-1"].removeprefix("ASRL").removesuffix("::INSTR")
    with serial.Serial(device, timeout=5) as port:
        port.write(b"T?\r")
        temperature = port.read_until(b"\r\n")

    assert "INVENTED,LCR-A,LCRA001,1.0" == identity
    assert re.fullmatch(r"[+-]\d\.\d{5}E[+-]\d\d,[+-]\d\.\d{5}E[+-]\d\d,\+\d", reading)
    assert re.fullmatch(rb"\+\d{3}\.\d{3},\+\d{3}\.\d{3}\r\n", temperature)


def test_a_bench_in_use_is_busy_and_says_who_has_it(shop: Shop) -> None:
    """While one program has the bench, another exits 2 and names the holder."""
    holder = subprocess.Popen(
        [*COILGATE, "--home", str(shop.home), "unit", "measure", "-", "--bench", str(shop.bench)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert holder.stdin is not None
        assert holder.stderr is not None
        holder.stdin.write("L2641-02-E01\n")
        holder.stdin.flush()
        assert "L2641-02-E01" in holder.stderr.readline() + holder.stderr.readline()
        second = shop.run("unit", "measure", "L2641-02-C03", "--bench", str(shop.bench))
    finally:
        holder.communicate(timeout=LONGEST_S)

    assert 2 == second.returncode
    assert str(holder.pid) in second.stderr
    assert "coilgate unit measure" in second.stderr


def test_a_signal_ends_in_a_record_and_a_clean_exit(shop: Shop) -> None:
    """SIGTERM in the middle of a run: INVALID on record, exit code 2, no traceback."""
    running = subprocess.Popen(
        [*COILGATE, "--home", str(shop.home), "unit", "measure", "L2641-02-C03", "--bench", str(shop.bench)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert running.stderr is not None
    seen = ""
    while "resistance" not in seen:
        line = running.stderr.readline()
        assert line, seen
        seen += line
    running.terminate()
    out, errors = running.communicate(timeout=LONGEST_S)
    shown = json.loads(shop.run("unit", "show", "L2641-02-C03", "--json").stdout)

    assert 2 == running.returncode
    assert "Traceback" not in out + errors
    assert "INVALID" == shown["decision"]
    assert "stopped" == shown["reason"]["code"]
    assert shown["drive_off_verified"]


def test_no_bench_is_taken_by_default(tmp_path: Path) -> None:
    """Without --bench nothing is opened; the message has the line to type."""
    done = coilgate("--home", str(tmp_path), "unit", "measure", "L2641-01-A01")

    assert 2 == done.returncode
    assert "coilgate bench simulate" in done.stderr


BAD_FILES = {
    "a plan key misspelt": ("plan", 'layers = 2\n', 'layer = 2\n', "layers"),
    "limits upside down": ("plan", 'lower = "6.8 ohm"', 'lower = "9.8 ohm"', "R20"),
    "bins with a gap": ("plan", "[7.6 ohm, 8.4 ohm)", "[7.7 ohm, 8.4 ohm)", "7.6"),
    "a wrong unit": ("plan", 'track_gap = "0.12 mm"', 'track_gap = "0.12 ohm"', "track_gap"),
    "a pattern without lot": ("plan", "(?P<lot>", "(?P<lots>", "lot"),
}


@pytest.mark.parametrize("case", BAD_FILES)
def test_a_wrong_plan_is_told_with_file_line_and_key(case: str, tmp_path: Path) -> None:
    """Exit code 2, `file:line: key: what would be right`, and never a traceback."""
    _, old, new, named = BAD_FILES[case]
    text = PLAN.read_text()
    assert old in text
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(text.replace(old, new, 1))

    done = coilgate("plan", "check", str(wrong))

    assert 2 == done.returncode
    assert re.search(r"wrong\.toml:\d+: ", done.stderr)
    assert named in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("plan", "check", "missing.toml"), "missing.toml"),
        (("unit", "show", "L2641-01-A01"), "no run on record"),
        (("lot", "show", "L0000"), "L0000"),
        (("unit", "measure", "L2641-01-A01", "--bench", "missing.toml"), "missing.toml"),
        (("lot", "export", "L0000", "--to", "lot.xls"), ".csv or .parquet"),
        (("bench", "clear", "bench-1", "--who", "", "--why", ""), "bench"),
    ],
)
def test_what_is_not_there_is_told_in_one_line(
    arguments: tuple[str, ...], said: str, tmp_path: Path
) -> None:
    """Exit code 2 and one clear line on standard error."""
    done = coilgate("--home", str(tmp_path / "home"), *arguments)

    assert 2 == done.returncode, done.stdout
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert "" == done.stdout


def test_records_that_are_no_database_are_told(tmp_path: Path) -> None:
    """A file of something else in the home is named; it is not touched."""
    (tmp_path / "records.sqlite3").write_text("this is a shopping list, not a database\n" * 40)
    done = coilgate("--home", str(tmp_path), "lot", "show", "L2641")

    assert 2 == done.returncode
    assert "records.sqlite3" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_demo_refuses_a_home_with_other_records(tmp_path: Path) -> None:
    """The demo never mixes invented units with a user's own."""
    (tmp_path / "mine.txt").write_text("mine")
    done = coilgate("demo", "--home", str(tmp_path))

    assert 2 == done.returncode
    assert "home of its own" in done.stderr
    assert ["mine.txt"] == [each.name for each in tmp_path.iterdir()]


def test_panel_is_gone_through_place_by_place(shop: Shop) -> None:
    """Its open places in order, each by its own serial, and the summary; units with codes of their own are scanned.

    The first unit sits badly, by the simulation: it is seated again before any other comes, by running this again.
    """
    text = PLAN.read_text(encoding="utf-8").replace('rows = "A-H"', 'rows = "C"').replace('"01-12"', '"05-06"')
    small, labelled = shop.home / "small.toml", shop.home / "labelled.toml"
    small.write_text(text, encoding="utf-8")
    labelled.write_text(text.replace("unit_labels = false", "unit_labels = true"), encoding="utf-8")
    asked = ("unit", "measure", "--panel", "L2641-07", "--bench", str(shop.bench), "--json", "--plan")
    first, done, refused = (shop.run(*asked, str(plan)) for plan in (small, small, labelled))
    both = shop.run("unit", "measure", "L2641-07-C05", "--panel", "L2641-07", "--bench", str(shop.bench))

    assert ["L2641-07-C05"] == [json.loads(line)["serial"] for line in first.stdout.splitlines()]
    assert "L2641-07-C05 was not measured: its place comes first when this command is run again." in first.stderr
    assert ["L2641-07-C05", "L2641-07-C06"] == [json.loads(line)["serial"] for line in done.stdout.splitlines()]
    assert "panel L2641-07: 2 not measured" in done.stderr  # a plan that is not released passes nothing
    assert "each unit has a code of its own: scan these (unit measure -)" in refused.stderr
    assert "say which units: SERIAL..., - for a scanner, or --panel CODE" in both.stderr
    assert [2, 2, 2, 2] == [each.returncode for each in (first, done, refused, both)]


def test_panel_goes_no_further_from_a_place_whose_unit_did_not_come(shop: Shop) -> None:
    """The unit that comes late would be taken for the next place's: the command ends there and says how to go on."""
    text = shop.bench.read_text(encoding="utf-8")
    by_hand = shop.home / "by-hand.toml"
    by_hand.write_text("".join(each for each in text.splitlines(True) if not each.startswith("operator")), "utf-8")
    asked = ("--bench", str(by_hand), "--load-timeout", "0.2", "--json")
    done = shop.run("unit", "measure", "--panel", "L2641-09", *asked)

    assert ["L2641-09-A01"] == [json.loads(line)["serial"] for line in done.stdout.splitlines()]
    assert "L2641-09-A01 was not measured: its place comes first when this command is run again." in done.stderr
    assert 2 == done.returncode
