"""What the suites of this package say it with: plain functions, no test runner needed."""


class ContractBroken(AssertionError):
    """What was tested does not keep to its interface."""


def expect(expected: object, actual: object) -> None:
    """Raise `ContractBroken` unless both are equal."""
    if expected != actual:
        raise ContractBroken(f"expected {expected!r}; got {actual!r}")


def expect_below(most: float, actual: float, what: str) -> None:
    """Raise `ContractBroken` if `actual` is above `most`; `what` names the quantity and its unit."""
    if actual > most:
        raise ContractBroken(f"expected at most {most:g} {what}; got {actual:g}")
