"""Files that people write: read, and every mistake in them told at once."""

from pathlib import Path

from station.core.bench_draft import require_settled
from station.core.bench_file import parse_bench
from station.core.equipment import Bench
from station.core.plan import Plan
from station.core.plan_file import parse_plan
from station.core.reference_file import parse_reference_unit
from station.core.verification import ReferenceUnit
from station.errors import BenchError, PlanError, StationError

LARGEST_FILE = 1_000_000
"""Bytes; a plan or bench file is a few thousand."""


def read_plan(path: Path) -> Plan:
    """Return the control plan in a file; raises `PlanError` with every mistake."""
    return parse_plan(_read(path, PlanError), path.name)


def read_bench(path: Path) -> Bench:
    """Return the bench in a file; raises `BenchError` with every mistake, and what a draft leaves unknown."""
    bench = parse_bench(_read(path, BenchError), path.name)
    require_settled(bench, path.name)
    return bench


def read_reference_units(folder: Path, part: str) -> tuple[ReferenceUnit, ...]:
    """Return the reference units of a part from the `.toml` files in a folder, in order of serial."""
    units = (
        parse_reference_unit(_read(each, BenchError), each.name) for each in sorted(folder.glob("*.toml"))
    )
    return tuple(sorted((each for each in units if each.part == part), key=lambda each: each.serial))


def _read(path: Path, kind: type[StationError]) -> str:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise kind(f"{path}: can't be read: {error.strerror or error}. Check the name.") from error
    if len(data) > LARGEST_FILE:
        raise kind(f"{path}: {len(data)} bytes is no plan or bench file. Check the name.")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise kind(f"{path}: byte {error.start} is not UTF-8. Save it as plain text in UTF-8.") from error
