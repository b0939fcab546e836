"""The folder of one night: in memory if there is room, gone when the night is over."""

import os
import time
from pathlib import Path
from shutil import rmtree
from tempfile import TemporaryDirectory

MEMORY_FOLDER = Path("/dev/shm")
ROOM_BYTES = 1 << 30
PREFIX = "coilgate-nightly-"
OLD_S = 86_400.0


def throwaway() -> TemporaryDirectory[str]:
    """Return a temporary folder, in memory if there is room: what is thrown away need not outlive a power cut.

    Ten commits a unit, each of them waiting for a disk, cost more than all else on a machine that is busy.
    """
    if not _roomy():
        return TemporaryDirectory(prefix=PREFIX)
    forget_broken_off(MEMORY_FOLDER, now_s=time.time())
    return TemporaryDirectory(prefix=PREFIX, dir=MEMORY_FOLDER)


def forget_broken_off(folder: Path, *, now_s: float) -> None:
    """Remove what nights that were killed have left in `folder`: of yesterday or older, so nobody's any more."""
    for left in folder.glob(f"{PREFIX}*"):
        try:
            old = now_s - left.stat().st_mtime > OLD_S
        except OSError:
            continue
        if old:
            rmtree(left, ignore_errors=True)


def _roomy() -> bool:
    try:
        free = os.statvfs(MEMORY_FOLDER)
        return free.f_bavail * free.f_frsize >= ROOM_BYTES and os.access(MEMORY_FOLDER, os.W_OK)
    except (OSError, AttributeError):  # no such folder; Windows has no statvfs
        return False
