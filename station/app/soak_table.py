"""The soak table on all cores: chunks of curves to workers, progress back."""

from collections.abc import Callable, Iterator
from concurrent.futures import Future, as_completed
from dataclasses import dataclass
from time import process_time

from station.heating_fit.audit_study import AuditRow, audit_row
from station.heating_fit.study import DRIFT_REMOVED, DRIFT_UNSEEN, FAMILIES, HIDDEN, Stop, study_chunk
from station.heating_fit.table import SoakRow, soak_rows
from station.workers import usable_cores, worker_pool

CHUNK = 50
STUDIED = (*FAMILIES, DRIFT_UNSEEN, DRIFT_REMOVED, HIDDEN)
AUDITED = (("hidden from the first unit", 0, 60), ("hidden from unit 61 on", 60, 60))
"""(name, sound units, units with a hidden term), one after the other on one bench."""


@dataclass(frozen=True, slots=True)
class SoakTable:
    """Rows of stops, and what the full-soak audit did."""

    rows: tuple[SoakRow, ...]
    audits: tuple[AuditRow, ...]


def soak_table(
    curves: int, *, seed: int = 1, workers: int | None = None, tell: Callable[[int, int], object]
) -> SoakTable:
    """Study `curves` curves of each family. The same seed gives the same stops, whatever the workers.

    Args:
        workers: processes; default: one a core.
        tell: called with (done, total) chunks.
    """
    with worker_pool(workers or usable_cores()) as pool:
        chunks = [pool.submit(_chunk, place, size, seed, index) for place, size, index in _chunks(curves)]
        audits = [pool.submit(_audit, place, seed) for place in range(len(AUDITED))]
        _watch([*chunks, *audits], tell)
        stops = [stop for each in chunks for stop in each.result()]
        return SoakTable(soak_rows(stops), tuple(each.result() for each in audits))


def _chunks(curves: int) -> Iterator[tuple[int, int, int]]:
    for place in range(len(STUDIED)):
        for index, start in enumerate(range(0, curves, CHUNK)):
            yield place, min(CHUNK, curves - start), index


def _watch(jobs: list[Future[list[Stop]] | Future[AuditRow]], tell: Callable[[int, int], object]) -> None:
    for done, _ in enumerate(as_completed(jobs), start=1):
        tell(done, len(jobs))


def _chunk(place: int, size: int, seed: int, index: int) -> list[Stop]:
    return study_chunk(STUDIED[place], size, (seed, place, index), process_time)


def _audit(place: int, seed: int) -> AuditRow:
    name, sound, hidden = AUDITED[place]
    return audit_row(name, sound, hidden, (seed, len(STUDIED), place))
