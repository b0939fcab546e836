"""Every speed goal beside what is measured now: `python -m tests.benchmarks [PART ...]`.

Ratios are those of minima over at least 15 blocks that take turns, so that they hold on a busy computer too; absolute
figures (units a second, seconds) belong to the computer that they were measured on. Nothing asserts them. Exit 1 if a
goal is missed.
"""

import argparse
import sys
from collections.abc import Callable

from tests.benchmarks import (
    bench_links,
    bench_lots,
    bench_memory,
    bench_pages,
    bench_program,
    bench_records,
    bench_unit,
)
from tests.benchmarks.table import Line, format_table

PARTS: dict[str, Callable[[], list[Line]]] = {
    "links": bench_links.lines,
    "unit": bench_unit.lines,
    "records": bench_records.lines,
    "lots": bench_lots.lines,
    "memory": bench_memory.lines,
    "program": bench_program.lines,
    "pages": bench_pages.lines,
}


def main() -> int:
    """Measure the parts that are asked for (all by default) and print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("part", nargs="*", help=f"one of {', '.join(PARTS)}; all by default")
    asked = parser.parse_args().part or list(PARTS)
    unknown = [each for each in asked if each not in PARTS]
    if unknown:
        parser.error(f"no part {unknown[0]!r}; there are {', '.join(PARTS)}")
    found: list[Line] = []
    for part in asked:
        print(f"measuring: {part}", file=sys.stderr, flush=True)
        found += PARTS[part]()
    print(format_table(found))
    return 0 if all(each.met for each in found) else 1


if __name__ == "__main__":
    sys.exit(main())
