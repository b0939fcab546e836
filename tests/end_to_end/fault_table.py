"""Print the table of faults: `python -m tests.end_to_end.fault_table [--every N]`.

Per fault and instrument: how many points, and how many ended in which way. Exit 1 if any point is wrong.
"""

import argparse
import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.end_to_end.fault_matrix import BENCHES, INSTRUMENTS, VARIANTS, Outcome, message_spans, points, run_point
from tests.end_to_end.shop import Shop

HEADER = (
    f"{'fault':<24}{'on':<15}{'points':>7}{'PASS':>7}{'INVALID':>9}{'refused':>9}{'latched':>9}"
    f"{'next PASS':>11}{'after PASS':>12}{'wrong':>7}"
)


def main() -> int:
    """Run the matrix and print it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--every", type=int, default=1, help="only each N-th message")
    parser.add_argument("--bench", choices=sorted(BENCHES), help="only one of the benches")
    parser.add_argument("--fault", help="only faults whose name contains this")
    asked = parser.parse_args()
    wrong: list[Outcome] = []
    with tempfile.TemporaryDirectory() as home, Shop(Path(home)) as shop:
        for bench in [asked.bench] if asked.bench else BENCHES:
            print(f"\nbench {bench}\n{HEADER}")
            spans = message_spans(shop, bench)
            for variant in VARIANTS:
                if asked.fault and asked.fault not in variant.name:
                    continue
                for instrument in INSTRUMENTS:
                    found = [
                        run_point(shop, spans, each)
                        for each in points(spans, bench, variant, instrument, every=asked.every)
                    ]
                    if found:
                        print(row(variant.name, instrument, found), flush=True)
                    wrong.extend(each for each in found if each.wrong)
    for each in wrong:
        print(f"WRONG {each.point}: {'; '.join(each.wrong)}")
    return 1 if wrong else 0


def row(name: str, instrument: str, found: list[Outcome]) -> str:
    """Return one line of the table."""
    ways = Counter(each.spoilt for each in found)
    latched = sum(each.latched for each in found)
    right = sum(each.next == "PASS" for each in found)
    after = sum(each.after == "PASS" for each in found)
    wrong = sum(bool(each.wrong) for each in found)
    return (
        f"{name:<24}{instrument:<15}{len(found):>7}{ways['PASS']:>7}{ways['INVALID']:>9}"
        f"{ways['refused']:>9}{latched:>9}{right:>11}{after:>12}{wrong:>7}"
    )


if __name__ == "__main__":
    sys.exit(main())
