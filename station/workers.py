"""Worker processes for long computations: started afresh, one numerical thread each, gone with who started them."""

import os
import signal
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context, parent_process
from multiprocessing.connection import wait
from threading import Thread

_ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
"""What numerical libraries look at when they are loaded."""

_GRACE_S = 3.0


def usable_cores() -> int:
    """Return how many cores this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # macOS has no affinities
        return os.cpu_count() or 1


def worker_pool(workers: int) -> ProcessPoolExecutor:
    """Return a pool of `workers` processes; nothing heavy is imported in them before their first job."""
    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_begin)


def use_one_thread() -> None:
    """Have numerical libraries that are loaded from now on use one thread: on small matrices more fight for cores."""
    for name in _ONE_THREAD:
        os.environ[name] = "1"


def _begin() -> None:
    use_one_thread()
    Thread(target=_end_with_parent, name="ends with its parent", daemon=True).start()


def _end_with_parent() -> None:
    """End this process when the one that started it is gone.

    A worker holds both ends of the queue that it waits at: it would wait for ever. It is asked first, so that a job
    that runs takes its folder away.
    """
    parent = parent_process()
    if parent is None:
        return
    wait([parent.sentinel])
    os.kill(os.getpid(), signal.SIGTERM)
    time.sleep(_GRACE_S)
    os._exit(1)
