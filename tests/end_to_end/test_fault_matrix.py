"""Each fault on each instrument, at messages all along a run: never a wrong number, drive off, next unit right.

Thinned by default; with COILGATE_NIGHTLY=1 at every message and on both benches whole.
`python -m tests.end_to_end.fault_table` prints what came of each.
"""

import pytest

from tests.end_to_end.fault_matrix import (
    BENCHES,
    INSTRUMENTS,
    VARIANTS,
    Span,
    Variant,
    message_spans,
    points,
    run_point,
)
from tests.end_to_end.shop import Shop

DANGEROUS_EVERY = 5
OTHERS_EVERY = 13
SECOND_BENCH_EVERY = 41

_CASES = [
    (variant, instrument)
    for variant in VARIANTS
    for instrument in INSTRUMENTS
    if not variant.only or instrument in variant.only
]


@pytest.fixture(scope="module")
def spans(shop: Shop) -> dict[str, dict[str, Span]]:
    """Where the messages of the spoilt unit's way are, on each bench."""
    return {bench: message_spans(shop, bench) for bench in BENCHES}


@pytest.mark.slow
@pytest.mark.parametrize(("variant", "instrument"), _CASES, ids=[f"{each.name} on {name}" for each, name in _CASES])
def test_fault_never_gives_a_wrong_number_and_leaves_the_bench_able(
    shop: Shop,
    spans: dict[str, dict[str, Span]],
    every_point: bool,
    variant: Variant,
    instrument: str,
) -> None:
    """The run with the fault is PASS with right numbers or INVALID; drive off; the next unit comes out right."""
    wrong = [
        f"{point}: {'; '.join(outcome.wrong)}"
        for bench in BENCHES
        for point in points(
            spans[bench], bench, variant, instrument, every=1 if every_point else _every(bench, variant)
        )
        if (outcome := run_point(shop, spans[bench], point)).wrong
    ]

    assert [] == wrong


def _every(bench: str, variant: Variant) -> int:
    if bench != "A":
        return SECOND_BENCH_EVERY
    return DANGEROUS_EVERY if variant.dangerous else OTHERS_EVERY
