"""The machine-wide lock: who has it is told, it survives nothing but its holder, and different names meet."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from station.bench_lock import BenchLock, resolve_address
from station.errors import BenchError, NestBusy
from tests.station.benches import DEADLINE_S

SOURCE = "TCPIP::127.0.0.1::5025::SOCKET"
METER = "TCPIP::127.0.0.1::5026::SOCKET"

HOLDER = """
import sys
from pathlib import Path
from station.bench_lock import BenchLock
with BenchLock("bench-1", [sys.argv[1]], where="http://127.0.0.1:8000/", folder=Path(sys.argv[2])):
    print("held", flush=True)
    sys.stdin.read()
"""


def make(folder: Path, *addresses: str, name: str = "bench-1") -> BenchLock:
    """Return a lock, not taken."""
    return BenchLock(name, addresses, where="coilgate unit measure", folder=folder)


def test_second_program_is_told_by_whom_since_when_and_where(tmp_path: Path) -> None:
    """Who finds the bench busy reads pid, program, user, time and place of its holder."""
    command = [sys.executable, "-c", HOLDER, SOURCE, str(tmp_path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as holder:
        assert holder.stdin is not None
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        with pytest.raises(NestBusy) as caught:
            make(tmp_path, SOURCE).acquire()
        holder.stdin.close()
    words = str(caught.value)

    assert f"pid {holder.pid}" in words
    assert "at http://127.0.0.1:8000/" in words
    assert " since 2" in words
    assert " user " in words


def test_killed_holder_leaves_bench_free(tmp_path: Path) -> None:
    """A crash leaves nothing to clean up."""
    command = [sys.executable, "-c", HOLDER, SOURCE, str(tmp_path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        holder.kill()
        holder.wait(DEADLINE_S)

    with make(tmp_path, SOURCE) as lock:
        assert len(lock.descriptors) == 1


def test_inherited_lock_keeps_dead_holders_bench(tmp_path: Path) -> None:
    """While a process that inherited the lock lives, the bench is taken: its drive is being switched off."""
    lock = make(tmp_path, SOURCE)
    lock.acquire()
    command = [sys.executable, "-c", "import sys; sys.stdin.read()"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, pass_fds=lock.descriptors) as heir:
        os.close(lock.descriptors[0])  # what the end of this process would do
        with pytest.raises(NestBusy):
            make(tmp_path, SOURCE).acquire()
        assert heir.stdin is not None
        heir.stdin.close()
        heir.wait(DEADLINE_S)

    make(tmp_path, SOURCE).__enter__().release()


def test_release_frees_lock_that_others_inherited(tmp_path: Path) -> None:
    """A bench closed in order is free at once, whoever still has its descriptors."""
    lock = make(tmp_path, SOURCE)
    lock.acquire()
    command = [sys.executable, "-c", "import sys; sys.stdin.read()"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, pass_fds=lock.descriptors) as heir:
        lock.release()
        with make(tmp_path, SOURCE) as second:
            assert len(second.descriptors) == 1
        assert heir.stdin is not None
        heir.stdin.close()


def test_benches_that_share_an_instrument_exclude_each_other(tmp_path: Path) -> None:
    """Another bench file with one of the addresses cannot be opened; nothing of it stays taken."""
    with make(tmp_path, SOURCE, METER), pytest.raises(NestBusy):
        make(tmp_path, "TCPIP::127.0.0.1::1::SOCKET", METER, name="bench-2").acquire()

    with make(tmp_path, "TCPIP::127.0.0.1::1::SOCKET", METER, name="bench-2") as lock:
        assert len(lock.descriptors) == 2


def test_links_and_host_names_resolve_to_one_address(tmp_path: Path) -> None:
    """The same instrument under another name has the same lock."""
    device = tmp_path / "ttyUSB0"
    device.touch()
    by_id = tmp_path / "by-id"
    by_id.symlink_to(device)

    assert resolve_address(f"ASRL{by_id}::INSTR") == resolve_address(str(device))
    assert resolve_address("tcpip0::127.0.0.1::5025::socket") == resolve_address(SOURCE)
    assert resolve_address("USB::0x1::0x2::A::INSTR") == resolve_address("USB0::0x1::0x2::A::INSTR")


def test_lock_file_that_was_tidied_away_is_made_again(tmp_path: Path) -> None:
    """A lock on a file that is no longer in the folder would meet nobody: it isn't taken."""
    first = make(tmp_path, SOURCE)
    first.acquire()
    first.release()
    for file in tmp_path.iterdir():
        file.unlink()
    with make(tmp_path, SOURCE):
        assert len(list(tmp_path.iterdir())) == 1


def test_folder_and_files_are_open_to_other_users(tmp_path: Path) -> None:
    """Another user can take the lock too, whatever the umask; nobody can take another's file away."""
    folder = tmp_path / "locks"
    former = os.umask(0o077)
    try:
        with make(folder, SOURCE):
            modes = [each.stat().st_mode & 0o7777 for each in (folder, *folder.iterdir())]
    finally:
        os.umask(former)

    assert modes == [0o1777, 0o666]


def test_folder_that_cannot_be_made_is_a_bench_error(tmp_path: Path) -> None:
    """Where the lock can't be taken nothing is opened, and the message says what to do."""
    (tmp_path / "file").touch()

    with pytest.raises(BenchError, match="could not be taken"):
        make(tmp_path / "file" / "locks", SOURCE).acquire()
