"""From a bench file's words to a driver: the one table that says which class speaks which kind of dialect."""

from collections.abc import Callable

from drivers.clock import Clock
from drivers.dialects import Dialect, FixtureDialect, LcrDialect, SourceDialect, ThermometerDialect
from drivers.fixture import LineFixture
from drivers.lcr import ScpiLcrMeter
from drivers.link import Link
from drivers.source import ScpiSource
from drivers.thermometer import SerialThermometer

Driver = ScpiLcrMeter | ScpiSource | LineFixture | SerialThermometer

KINDS = ("lcr", "source", "fixture", "thermometer")
"""The kinds of instrument that a bench file may name."""


def build_driver(
    kind: str,
    link: Link,
    clock: Clock,
    dialect: Dialect,
    *,
    name: str = "",
    expected_identity: str = "",
    reopen: Callable[[], Link] | None = None,
    has_stage: bool | None = None,
    mains_hz: float = 50.0,
) -> Driver:
    """Return the driver for `dialect` over `link`.

    Args:
        kind: one of `KINDS`; has to be the dialect's.
        name: the instrument's name in the bench file; the link's name if empty.
        expected_identity: `maker`, or `maker,model`, ... as the bench file has it; empty for any.
        reopen: for a source, opens its link anew when only that can prove it off.
        has_stage: for a fixture, whether it moves the field sensor itself; None: learnt from the fixture.
        mains_hz: what a fixture's field is averaged over whole cycles of.

    Raises:
        ValueError: the dialect is for another kind.
    """
    if kind != dialect.kind:
        raise ValueError(
            f"instrument '{name}' must have a dialect for kind '{kind}' (one of {', '.join(KINDS)}); "
            f"dialect '{dialect.name}' is for kind '{dialect.kind}'"
        )
    match dialect:
        case LcrDialect():
            return ScpiLcrMeter(link, clock, dialect, name=name, expected_identity=expected_identity)
        case SourceDialect():
            return ScpiSource(
                link, clock, dialect, name=name, expected_identity=expected_identity, reopen=reopen
            )
        case FixtureDialect():
            return LineFixture(
                link,
                clock,
                dialect,
                name=name,
                expected_identity=expected_identity,
                has_stage=has_stage,
                mains_hz=mains_hz,
            )
        case ThermometerDialect():
            return SerialThermometer(link, clock, dialect, name=name, expected_identity=expected_identity)
