"""`coilgate lot copper`, `unit copper`, `lot pull`: the inspection loop by command."""

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from station.cli.main import cli
from tests.cli.lots import record_lot

LOT, SERIAL = "L2641", "L2641-01-A01"
ENTERED = ("--who", "EN-02", "--why", "incoming")
COUPONS = """panel,width_um,length_mm,resistance_ohm,temperature_degc,u_ohm
01,100,50,0.5326,23,0.0005
01,400,50,0.1240,23,0.0001
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two panels on record, R20 8 % above the drawing."""
    folder = tmp_path_factory.mktemp("home")
    record_lot(folder, LOT, 2, mean_ohm=8.58, results=1)
    return folder


@pytest.fixture
def home(made: Path, tmp_path: Path) -> Path:
    """A copy to write on."""
    shutil.copytree(made, tmp_path / "home")
    return tmp_path / "home"


def _run(home: Path, *words: str) -> Result:
    return CliRunner().invoke(cli, ["--home", str(home), *words])


def _facts(home: Path, *words: str) -> dict:
    result = _run(home, *words, "--json")
    assert 0 == result.exit_code, result.output
    return json.loads(result.stdout)


def test_coupons_from_a_file_are_entered_and_told(home: Path, tmp_path: Path) -> None:
    """Etch loss, sheet resistance, thickness; then `lot explain` names narrow tracks."""
    (tmp_path / "c.csv").write_text(COUPONS)
    found = _facts(home, "lot", "copper", LOT, "--coupons", str(tmp_path / "c.csv"), *ENTERED)
    panel = found["panels"][0]["coupons"]
    level = _facts(home, "lot", "explain", LOT)["lot_level"]

    assert 8.97e-6 == pytest.approx(panel["etch_loss_m"], rel=0.02)
    assert 18e-6 == pytest.approx(panel["thickness_at_drawn_resistivity_m"], rel=0.01)
    assert "narrow_tracks" == level[0]["cause"]
    assert any("etch loss" in each for each in _facts(home, "unit", "explain", SERIAL)["evidence"])


def test_same_r20_by_thin_copper_is_called_thin(home: Path) -> None:
    """Two tracks on the line, of copper 8 % thin at full width."""
    tracks = ("01: 100 um, 50 mm, 0.5206 ohm, 20 degC", "01: 400 um, 50 mm, 0.13014 ohm, 20 degC")
    words = [word for each in tracks for word in ("--coupon", each)]
    _facts(home, "lot", "copper", LOT, *words, "--uncertainty", "0.1 mohm", *ENTERED)

    assert "thin_copper" == _facts(home, "lot", "explain", LOT)["lot_level"][0]["cause"]


def test_widths_on_the_line_are_entered_and_replaced(home: Path) -> None:
    """A later entry takes the place of the first, which stays to be seen."""
    at = ("--at", "1/1 top 105 um", "--at", "1/10 top 106 um", "--uncertainty", "1 um", "--method", "microscope")
    first = _facts(home, "unit", "copper", SERIAL, *at, *ENTERED)
    again = ("--at", "1/1 width 111 um", "--uncertainty", "1 um", "--instead-of", "1")
    second = _facts(home, "unit", "copper", SERIAL, *again, "--who", "EN-02", "--why", "wrong magnification")
    entries = _facts(home, "lot", "copper", LOT)["entries"]

    assert 2 == first["widths"]["places"]
    assert 1 == second["widths"]["places"]
    assert second["widths"]["implied_r20_ohm"] == pytest.approx(7.945 * 120 / 111, rel=1e-3)
    assert [2, None] == [each["replaced_by"] for each in entries]
    assert "wrong magnification" == entries[1]["why"]


def test_thickness_on_the_line_is_entered(home: Path) -> None:
    """A section's mean thickness."""
    words = ("--thickness", "17.0 um", "--thickness", "17.4 um", "--uncertainty", "0.2 um")

    assert 17.2e-6 == pytest.approx(_facts(home, "unit", "copper", SERIAL, *words, *ENTERED)["thickness_m"])


def test_text_says_what_is_left_for_thickness(home: Path) -> None:
    """In a table, with its uncertainty, and the entries."""
    _run(home, "unit", "copper", SERIAL, "--at", "1/5 width 111 um", "--uncertainty", "1 um", *ENTERED)
    text = _run(home, "lot", "copper", LOT).stdout

    assert "left for thickness" in text
    assert "1: widths, 1 row, EN-02" in text


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("lot", "copper", LOT, "--coupon", "01: 100 um, 50 mm, 0.5 ohm, 23 degC"), "--uncertainty"),
        (("unit", "copper", SERIAL, "--at", "1/5 width 111 um", "--uncertainty", "1 um"), "--who and --why"),
        (("unit", "copper", SERIAL, "--at", "1/5 width 111 um", "--thickness", "17 um"), "one at a time"),
        (("lot", "copper", LOT, "--instead-of", "1"), "needs what takes"),
        (("unit", "copper", SERIAL), "nothing was measured on its copper"),
        (("unit", "copper", "L2641-09-A01"), "no unit of a lot on record"),
        (("lot", "pull", LOT, "--record"), "--who and --why"),
        (("lot", "pull", LOT, "--to", "list.txt"), "ends in .pdf, .html or .csv"),
    ],
)
def test_what_is_missing_is_asked_for(home: Path, words: tuple[str, ...], says: str) -> None:
    """One sentence, not exit 0, nothing on record."""
    result = _run(home, *words)

    assert 0 != result.exit_code
    assert says in result.output + str(result.exception)
    assert [] == _facts(home, "lot", "copper", LOT)["entries"]


def test_pull_list_is_written_recorded_and_read_back(home: Path, tmp_path: Path) -> None:
    """The CSV that goes out is the form that widths come back on."""
    target = tmp_path / "pull.csv"
    found = _facts(home, "lot", "pull", LOT, "--to", str(target), "--record", *ENTERED)
    lines = target.read_text().splitlines()
    head = lines[0].split(",")
    serial, *rest = lines[1].split(",")
    rest[head.index("top_um") - 1], rest[head.index("u_um") - 1] = "108", "1"
    target.write_text("\n".join([lines[0], ",".join([serial, *rest]), *lines[2:]]))
    entered = _facts(home, "lot", "copper", LOT, "--widths", str(target), *ENTERED)

    assert found["recorded"]
    assert [serial] == [each["serial"] for each in entered["units"]]


def test_pull_list_as_text_says_where(home: Path) -> None:
    """Units, why, and turns and layers."""
    text = _run(home, "lot", "pull", LOT).stdout

    assert "widths at turns 1, 10, 20" in text
    assert "Not on record: --record." in text


def test_form_that_is_not_filled_in_is_told(home: Path, tmp_path: Path) -> None:
    """Nothing entered is no success."""
    target = tmp_path / "pull.csv"
    _run(home, "lot", "pull", LOT, "--to", str(target))
    result = _run(home, "lot", "copper", LOT, "--widths", str(target), *ENTERED)

    assert 2 == result.exit_code
    assert "no row is filled in yet" in result.output


def test_coupons_are_entered_before_a_unit_is_measured(tmp_path: Path) -> None:
    """The lot was received as IS-20: its released plan has the drawing. Measured then, the cause is told by them."""
    home, file = tmp_path / "home", tmp_path / "c.csv"
    file.write_text(COUPONS)
    record_lot(home, "L2600", 1, results=1)  # releases the plan, and is another lot
    _run(home, "lot", "receive", LOT, "--part", "IS-20", "--quantity", "192", "--who", "EN-02")
    found = _facts(home, "lot", "copper", LOT, "--coupons", str(file), *ENTERED)
    near = _run(home, "lot", "copper", LOT, "--coupon", f"01 beside {SERIAL}: 100 um, 50 mm, 0.53 ohm, 23 degC",
                "--uncertainty", "0.5 mohm", *ENTERED)  # fmt: skip
    record_lot(home, LOT, 1, mean_ohm=8.58, results=1)
    told = _facts(home, "lot", "explain", LOT)["lot_level"]

    assert 8.97e-6 == pytest.approx(found["panels"][0]["coupons"]["etch_loss_m"], rel=0.02)
    assert 0 == near.exit_code, near.exception
    assert "narrow_tracks" == told[0]["cause"]


def test_panel_that_was_not_measured_yet_takes_coupons_too(home: Path) -> None:
    """Two panels measured; 288 units received: panel 03 may come, one whose name can't be may not."""
    on_03 = ("--coupon", "03: 100 um, 50 mm, 0.53 ohm, 23 degC", "--uncertainty", "0.5 mohm", *ENTERED)
    refused = _run(home, "lot", "copper", LOT, *on_03)
    _run(home, "lot", "receive", LOT, "--part", "IS-20", "--quantity", "288", "--who", "EN-02")
    taken = _run(home, "lot", "copper", LOT, *on_03)
    wrong = _run(home, "lot", "copper", LOT, "--coupon", "3x: 100 um, 50 mm, 0.53 ohm, 23 degC", *on_03[2:])

    assert "panel 03: not in lot L2641. It has 01, 02." in str(refused.exception)
    assert 0 == taken.exit_code, taken.exception
    assert "no panel of IS-20 is named so" in str(wrong.exception)


def test_lot_that_nothing_is_on_record_of_needs_its_part(home: Path) -> None:
    """With --part its coupons are entered; without, and with another part than the lot's, it is told."""
    one = ("--coupon", "01: 100 um, 50 mm, 0.53 ohm, 23 degC", "--uncertainty", "0.5 mohm", *ENTERED)
    without = _run(home, "lot", "copper", "L2650", *one)
    unknown = _run(home, "lot", "copper", "L2650", *one, "--part", "IS-99")
    other = _run(home, "lot", "copper", LOT, *one, "--part", "IS-99")
    given = _run(home, "lot", "copper", "L2650", *one, "--part", "IS-20")

    assert "of what part it is is not on record. Say it: --part PART" in str(without.exception)
    assert "no plan of part IS-99 is released" in str(unknown.exception)
    assert "lot L2641 is of part IS-20, not IS-99" in str(other.exception)
    assert 0 == given.exit_code, given.exception
