"""Uncertainty budgets as bytes: the newest format with signs, the first one without, and what is neither."""

import json
import math
import zlib

import pytest

from station.core.results import Shape, Term
from station.errors import RecordError
from station.records.blobs import BUDGET_FORMAT, pack_budget, unpack_budget

TERMS = {
    "Rs": (Term("meter phase", 3e-3, math.inf, Shape.RECTANGULAR, -1), Term("repeatability", 1e-4, 4.0)),
    "L": (Term("meter phase", 2e-9, math.inf, Shape.RECTANGULAR, 1),),
}


def packed(content: object) -> bytes:
    """What a budget looks like on disk."""
    return zlib.compress(json.dumps(content).encode())


def test_budget_comes_back_with_its_signs() -> None:
    """Each term whole."""
    assert unpack_budget(BUDGET_FORMAT, pack_budget(TERMS)) == TERMS


def test_budget_of_the_first_format_has_no_signs() -> None:
    """Runs of older versions stay readable; their signs are not known."""
    old = packed({"R20": [["meter", 2e-3, None, "rectangular"], ["repeatability", 1e-4, 4.0, "normal"]]})

    assert unpack_budget(1, old) == {
        "R20": (Term("meter", 2e-3, math.inf, Shape.RECTANGULAR), Term("repeatability", 1e-4, 4.0))
    }


def test_newer_format_is_told() -> None:
    """It is not guessed at."""
    with pytest.raises(RecordError, match="format 3 is not known"):
        unpack_budget(3, pack_budget(TERMS))


@pytest.mark.parametrize("sign", [2, -0.5, "up", None])
def test_sign_that_is_none_is_damage(sign: object) -> None:
    """Only up, down and not known."""
    with pytest.raises(RecordError, match="damaged"):
        unpack_budget(2, packed({"R20": [["meter", 2e-3, None, "rectangular", sign]]}))
