"""What answers becomes a bench file that the check accepts; nobody is sent a setting."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from station.app.bench_draft import Search, draft_bench
from station.app.files import read_bench
from station.app.simulated import Simulation, served
from station.app.station import Station
from station.bench_lock import BenchLock
from station.core.bench_draft import UNKNOWN, BenchDraft, FoundInstrument, draft_text, missing_kinds
from station.core.bench_file import format_bench, parse_bench
from station.core.equipment import Bench, InstrumentSetup
from station.errors import BenchError
from station.stop import NestStop

pytestmark = pytest.mark.slow
TIMEOUT_S = 2.0


def quiet(_words: str) -> None:
    """Tell nobody."""


@pytest.fixture(scope="module", params=["TH-P", "TH-S"])
def bench(request: pytest.FixtureRequest) -> Iterator[Bench]:
    """A simulated bench on ports of its own, with each of the thermometers."""
    with served(Simulation(thermometer_model=request.param)) as (setup, _, _):
        yield setup


@pytest.fixture(scope="module")
def found(bench: Bench, tmp_path_factory: pytest.TempPathFactory) -> BenchDraft:
    """What answers at the addresses of that bench."""
    addresses = (*(each.address for each in bench.instruments), bench.operator_address)
    return asked(Search(addresses, look=False), tmp_path_factory.mktemp("locks"))


def asked(search: Search, lock_folder: Path) -> BenchDraft:
    """Ask everybody of a search."""
    patient = replace(search, timeout_s=TIMEOUT_S)
    return draft_bench(patient, stop=NestStop(), tell=quiet, lock_folder=lock_folder)


def of_kind(setup: Bench, kind: str) -> InstrumentSetup:
    """Return the instrument of a kind."""
    return next(each for each in setup.instruments if each.kind == kind)


def test_simulated_bench_is_found_whole(bench: Bench, found: BenchDraft) -> None:
    """Kinds, dialects, identities and addresses as its own file has them; marked as simulated, hands included."""
    made = parse_bench(draft_text(found), "draft")
    wanted = {(each.kind, each.address, each.dialect) for each in bench.instruments}

    assert () == missing_kinds(found)
    assert wanted == {(each.kind, each.address, each.dialect) for each in made.instruments}
    assert made.simulated
    assert bench.operator_address == made.operator_address
    assert all(each.accuracies for each in made.instruments)


def test_check_accepts_the_draft(found: BenchDraft, tmp_path: Path) -> None:
    """Opened, identified, the empty nest looked at: every check is sound."""
    made = parse_bench(draft_text(found), "draft")
    with Station.open(tmp_path) as station, station.inspecting(made, where="a test") as inspection:
        checks = list(station.checks(inspection, loaded=False, tell=quiet))

    assert [] == [each.words for each in checks if not each.sound]


def test_instrument_in_use_is_left_alone(bench: Bench, tmp_path: Path) -> None:
    """Who holds a bench need not fear that its answers go to somebody else."""
    source = of_kind(bench, "source")
    with BenchLock("bench-1", [source.address], where="a run", folder=tmp_path):
        held = asked(Search((source.address,), look=False), tmp_path)

    assert () == held.found
    assert "a run" in dict(held.silent)[source.address]


def test_bench_file_and_told_dialects_name_what_an_identity_does_not(bench: Bench, tmp_path: Path) -> None:
    """From another file: kind, dialect, accuracy; from somebody: kind and dialect, no accuracy of its own."""
    file = tmp_path / "other.toml"
    file.write_text(format_bench(bench), encoding="utf-8")
    lcr = of_kind(bench, "lcr")
    by_file = asked(Search((lcr.address,), look=False, like=(file,)), tmp_path).found[0]
    by_word = asked(Search((), look=False, told=((lcr.address, "lcr-status-first"),)), tmp_path).found[0]

    assert ("other.toml", lcr.accuracies) == (by_file.like, by_file.accuracies)
    assert ("lcr", "lcr-status-first") == (by_word.kind, by_word.dialect)
    with pytest.raises(BenchError, match="is not known; there are"):
        asked(Search((), look=False, told=((lcr.address, "nonsense"),)), tmp_path)


def test_unknown_and_second_instruments_stand_there_as_comments() -> None:
    """Nothing is guessed: the file has what is known, and words on the rest."""
    draft = BenchDraft(
        (
            FoundInstrument("TCPIP::192.0.2.10::5025::SOCKET", "Examplemaker,LCR-A,1"),
            FoundInstrument("ASRL/dev/ttyUSB0::INSTR", "Examplemaker,FIX-1,1", "fixture", "fixture-line", 115_200),
            FoundInstrument("ASRL/dev/ttyUSB1::INSTR", "Examplemaker,FIX-1,2", "fixture", "fixture-line", 115_200),
        ),
        (("ASRL/dev/ttyS0::INSTR", "nobody\nanswered"),),
    )
    text = draft_text(draft)
    made = parse_bench(text, "draft")

    assert ["fixture"] == [each.kind for each in made.instruments]
    assert ("lcr", "source", "thermometer") == missing_kinds(draft)
    assert '# identity = "Examplemaker,LCR-A,1"' in text
    assert "a second fixture answered" in text
    assert "#   ASRL/dev/ttyS0::INSTR: nobody answered" in text
    assert not made.simulated


def test_nobody_is_reported_with_what_happened(tmp_path: Path) -> None:
    """A refused port, a path that is no port, a text that is no address."""
    addresses = ("TCPIP::127.0.0.1::1::SOCKET", "/dev/nonsense", "somewhere")
    search = Search(addresses, look=False, timeout_s=0.2)
    found = draft_bench(search, stop=NestStop(), tell=quiet, lock_folder=tmp_path)

    assert () == found.found
    assert set(addresses) == set(dict(found.silent))
    assert all(dict(found.silent).values())


def test_draft_of_a_real_bench_is_refused_until_each_line_is_settled(found: BenchDraft, tmp_path: Path) -> None:
    """Guessed half widths would make guard bands too narrow: each line is named; without its mark it is somebody's."""
    draft, settled = tmp_path / "draft.toml", tmp_path / "settled.toml"
    text = draft_text(replace(found, simulated=False, operator_address=""))
    draft.write_text(text, encoding="utf-8")
    settled.write_text("".join(each.partition(UNKNOWN)[0].rstrip() + "\n" for each in text.splitlines()), "utf-8")
    with pytest.raises(BenchError) as refused:
        read_bench(draft)

    named = [each.key for each in refused.value.mistakes]
    assert ["name", "mains", "stage", "kelvin_check", "dead_man", "remote_sense"] == named[:6]
    assert 10 == len(named)
    assert not read_bench(settled).simulated
