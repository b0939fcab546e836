"""The example plan, as text and made."""

from station.core.plan import Plan
from station.core.plan_file import parse_plan
from station.data import data_path

IS_20_TEXT = data_path("plans/IS-20.toml").read_text(encoding="utf-8")
BENCH_TEXT = data_path("benches/example.toml").read_text(encoding="utf-8")


def is_20() -> Plan:
    """Return the example plan."""
    return parse_plan(IS_20_TEXT, "IS-20.toml")


def changed(*changes: tuple[str, str]) -> str:
    """Return the example plan's text with pieces replaced; each must be there."""
    text = IS_20_TEXT
    for old, new in changes:
        if old not in text:
            raise ValueError(f"the example plan has no {old!r}")
        text = text.replace(old, new, 1)
    return text
