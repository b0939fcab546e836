"""Compare times by ratios of minima over interleaved blocks.

Absolute times drift by two to three times between minutes on a shared computer; the ratio of the smallest
block of each side holds within 5 % (measured) when the blocks take turns.
"""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass

BLOCKS = 20


@dataclass(frozen=True, slots=True)
class Timed:
    """The best block of one side: seconds a call, and how many times that of the reference."""

    name: str
    seconds: float
    ratio: float


def compare(sides: Mapping[str, Callable[[], object]], *, calls: int, blocks: int = BLOCKS) -> list[Timed]:
    """Time each side in turn, `blocks` times `calls` calls; the first side is the reference."""
    best = dict.fromkeys(sides, float("inf"))
    for _ in range(blocks):
        for name, call in sides.items():
            start_s = time.perf_counter()
            for _ in range(calls):
                call()
            best[name] = min(best[name], (time.perf_counter() - start_s) / calls)
    reference_s = next(iter(best.values()))
    return [Timed(name, seconds, seconds / reference_s) for name, seconds in best.items()]


def show(title: str, timed: list[Timed], *, goals: Mapping[str, float] | None = None) -> str:
    """Return the comparison as lines of text, with the goal beside the ratio where there is one."""
    lines = [title]
    for side in timed:
        goal = (goals or {}).get(side.name)
        told = f"   goal {goal:g}: {'met' if side.ratio <= goal else 'MISSED'}" if goal else ""
        lines.append(f"  {side.name:<34} {side.seconds * 1e6:9.1f} us   {side.ratio:5.2f} x{told}")
    return "\n".join(lines)
