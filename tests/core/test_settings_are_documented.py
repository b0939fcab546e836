"""Every key that a plan or bench file may have is in the page that explains it."""

import re

import pytest

from station.core.bench_file import QUANTITIES, parse_bench
from station.core.characteristics import METHODS
from station.core.plan_file import parse_plan
from station.data import data_path
from station.errors import BenchError, PlanError
from tests.core.examples import BENCH_TEXT, IS_20_TEXT

PLANS_PAGE = data_path("plans/README.md").read_text(encoding="utf-8")
BENCHES_PAGE = data_path("benches/README.md").read_text(encoding="utf-8")


def with_unknown_keys(text: str) -> str:
    """The text with a key that nobody knows in each table."""
    return "nonsense = 1\n" + re.sub(r"(?m)^(\[.*\])(.*)$", r"\1\2\nnonsense = 1", text)


def known_keys(messages: list[str]) -> set[str]:
    """The keys that the mistakes list as known."""
    lists = [found.group(1) for each in messages if (found := re.search(r"\(known: (.*)\)$", each))]
    return {key for each in lists for key in each.split(", ")}


def explained(key: str, page: str) -> bool:
    """Whether a page names a key as code: alone, with its value, or as a table's header."""
    return re.search(rf"`(\[+(\w+\.)?)?{re.escape(key)}[` .\]]", page) is not None


def test_every_key_of_a_plan_is_explained() -> None:
    """Found by asking: an unknown key's mistake lists those that are known."""
    heating = '[[measure]]\nmethod = "heating"\ndrive = ["1 V"]\n[trays]\npockets = 50\n'
    with pytest.raises(PlanError) as caught:
        parse_plan(with_unknown_keys(IS_20_TEXT + heating), "p.toml")
    keys = known_keys([each.message for each in caught.value.mistakes])

    assert {"part", "turns_per_layer", "still_timeout", "heights", "guard", "takes", "mounting", "pockets"} <= keys
    assert [] == [key for key in sorted(keys) if not explained(key, PLANS_PAGE)]


def test_every_method_is_explained() -> None:
    """Each method has its row."""
    assert [] == [each for each in METHODS if f"| `{each}` |" not in PLANS_PAGE]


def test_every_key_of_a_bench_is_explained() -> None:
    """The same for bench, fixture, instrument and accuracy."""
    with pytest.raises(BenchError) as caught:
        parse_bench(with_unknown_keys(BENCH_TEXT), "b.toml")
    keys = known_keys([each.message for each in caught.value.mistakes])

    assert {"name", "kelvin_check", "dialect", "per_kelvin", "clock_speed"} <= keys
    assert [] == [key for key in sorted(keys) if not explained(key, BENCHES_PAGE)]


def test_quantities_have_words_of_their_own() -> None:
    """A file's word for a quantity has no unit in it, and no two quantities share one."""
    with pytest.raises(BenchError) as caught:
        parse_bench(BENCH_TEXT.replace('"dc_resistance"', '"nonsense"'), "b.toml")
    words = re.findall(r"'([a-z_]+)'", caught.value.mistakes[0].message.partition(";")[0])

    assert len(QUANTITIES) == len(set(words))
