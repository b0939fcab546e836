"""The machine-wide lock of a bench: one program at a time has its instruments.

One lock file for each address, so that two bench files that share an instrument exclude each other too.
`flock` is let go by the system when its holder ends in whatever way, so a crash leaves nothing to clean up.
The watchdog inherits the locks: a bench stays taken until its drive is off, even if the station died.
"""

import errno
import fcntl
import getpass
import hashlib
import json
import os
import re
import socket
import stat
import sys
from collections.abc import Iterable
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from types import TracebackType

from drivers.links.open import Via, find_route
from station.errors import BenchError, NestBusy

LOCK_FOLDER = Path("/var/tmp/coilgate-locks")
"""The same for every user of the machine, on Linux and macOS (where TMPDIR is each user's own)."""

_OPEN_FOLDER = 0o777 | stat.S_ISVTX
_NO_NUMBER = re.compile(r"^(TCPIP|USB|GPIB|VXI|PXI)::", re.IGNORECASE)
"""A VISA interface without its number, which then is 0."""


def resolve_address(address: str) -> str:
    """Return one text for all ways to write where `address` leads: `tcp host:port`, the device's real path.

    What cannot be resolved, such as a host name nobody knows, is kept as it is written.
    """
    try:
        route = find_route(address)
    except ValueError:
        return address
    if route.via is Via.SOCKET:
        return f"tcp {_numeric_host(route.host)}:{route.port}"
    if route.via is Via.SERIAL:
        return f"device {os.path.realpath(route.device)}"
    return "visa " + _NO_NUMBER.sub(r"\g<1>0::", address).upper()


class BenchLock:
    """The locks of all addresses of one bench, taken together or not at all. A context manager."""

    def __init__(
        self, name: str, addresses: Iterable[str], *, where: str, folder: Path | None = None
    ) -> None:
        """Prepare the lock of bench `name`; nothing is taken yet.

        Args:
            addresses: the addresses of the bench file.
            where: where this program can be found: its page's address, or its command.
            folder: where the lock files stand; the machine's `LOCK_FOLDER` by default.
        """
        self._name = name
        # In one order everywhere, else two programs could each take half.
        self._addresses = sorted({resolve_address(each) for each in addresses})
        self._where = where
        self._folder = folder or LOCK_FOLDER
        self._descriptors: list[int] = []

    @property
    def descriptors(self) -> tuple[int, ...]:
        """Return the descriptors that hold the locks; a process that inherits them holds the bench too."""
        return tuple(self._descriptors)

    def acquire(self) -> None:
        """Take the bench.

        Raises:
            NestBusy: somebody has it; the message says who, since when and where.
            BenchError: the lock files cannot be made.
        """
        try:
            _make_folder(self._folder)
            for address in self._addresses:
                self._take(address)
        except OSError as error:
            self.release()
            raise BenchError(
                f"{self._name}: its lock in {self._folder} could not be taken: {error.strerror}. "
                "Make that folder writable for everyone who measures."
            ) from error
        except BaseException:
            self.release()
            raise

    def release(self) -> None:
        """Let the bench go, whoever inherited the locks. Releasing twice is harmless."""
        while self._descriptors:
            descriptor = self._descriptors.pop()
            with suppress(OSError):  # the words only; the lock is what counts
                os.ftruncate(descriptor, 0)
            fcntl.flock(descriptor, fcntl.LOCK_UN)
            os.close(descriptor)

    def __enter__(self) -> "BenchLock":
        self.acquire()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.release()

    def _take(self, address: str) -> None:
        path = self._folder / f"{hashlib.sha256(address.encode()).hexdigest()[:20]}.lock"
        while True:
            descriptor = _open_lock_file(path)
            try:
                fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError as error:
                holder = _read_holder(descriptor)
                os.close(descriptor)
                if error.errno not in (errno.EWOULDBLOCK, errno.EACCES):
                    raise
                raise NestBusy(_busy_words(self._name, address, holder)) from error
            if _is_at(descriptor, path):
                break
            # The file was tidied away between open and lock: a lock that no one else would meet.
            os.close(descriptor)
        self._descriptors.append(descriptor)
        _write_holder(descriptor, self._holder(address))

    def _holder(self, address: str) -> dict[str, str | int]:
        return {
            "pid": os.getpid(),
            "program": " ".join((Path(sys.argv[0]).name, *sys.argv[1:3])).strip() or "python",
            "user": _user(),
            "since": datetime.now().astimezone().isoformat(sep=" ", timespec="seconds"),
            "where": self._where,
            "bench": self._name,
            "address": address,
        }


class NullLock:
    """Stands in where a bench lives inside this program (memory links): nobody else can have it."""

    descriptors: tuple[int, ...] = ()

    def acquire(self) -> None:
        """Take nothing."""

    def release(self) -> None:
        """Let nothing go."""


def _numeric_host(host: str) -> str:
    try:
        return str(socket.getaddrinfo(host, None, type=socket.SOCK_STREAM)[0][4][0])
    except OSError:
        return host.lower()


def _user() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return str(os.getuid())


def _make_folder(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    state = folder.stat()
    # Everyone may make locks in it, nobody may take away another's. Not by mkdir, whose mode the umask cuts.
    if state.st_uid == os.getuid() and stat.S_IMODE(state.st_mode) != _OPEN_FOLDER:
        folder.chmod(_OPEN_FOLDER)


def _open_lock_file(path: Path) -> int:
    # Not O_CREAT on a file of another user: Linux refuses that in a folder like this (fs.protected_regular).
    flags = os.O_RDWR | os.O_NOFOLLOW | os.O_CLOEXEC
    while True:
        try:
            return os.open(path, flags)
        except FileNotFoundError:
            pass
        try:
            descriptor = os.open(path, flags | os.O_CREAT | os.O_EXCL, 0o666)
        except FileExistsError:
            continue
        os.fchmod(descriptor, 0o666)
        return descriptor


def _is_at(descriptor: int, path: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(descriptor), os.stat(path))
    except FileNotFoundError:
        return False


def _write_holder(descriptor: int, holder: dict[str, str | int]) -> None:
    os.ftruncate(descriptor, 0)
    os.pwrite(descriptor, json.dumps(holder).encode(), 0)


def _read_holder(descriptor: int) -> dict[str, object]:
    try:
        holder = json.loads(os.pread(descriptor, 10_000, 0))
    except ValueError:
        return {}
    return holder if isinstance(holder, dict) else {}


def _busy_words(name: str, address: str, holder: dict[str, object]) -> str:
    if not holder:
        return f"{name}: asked for {address}; another program has it. Close that program, then retry."
    pid, where = holder.get("pid"), holder.get("where")
    words = (
        f"{name}: asked for {address}; it is held by '{holder.get('program')}' (pid {pid}, "
        f"user {holder.get('user')}) since {holder.get('since')}, at {where}."
    )
    if isinstance(pid, int) and not _alive(pid):
        return f"{words} That program has ended; its watchdog is switching the drive off. Retry in 10 s."
    return f"{words} Measure there, or close it first."


def _alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
