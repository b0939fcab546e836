"""A night as JUnit XML, which build servers read: a case for each scenario and seed, and one for the comparison."""

import re
from collections.abc import Sequence
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from station.nightly.compared import Worse
from station.nightly.tally import Tally

COMPARISON = "compared with the accepted night"
_NOT_XML = re.compile(r"[^\t\n\x20-\ud7ff\ue000-\ufffd]")


def junit_text(nights: Sequence[Tally], bounds: Sequence[Worse], against_accepted: Sequence[Worse]) -> str:
    """Return the XML text."""
    root = Element("testsuites", name="coilgate nightly")
    for scenario in dict.fromkeys(each.scenario for each in nights):
        own = [each for each in nights if each.scenario == scenario]
        later = [each for each in against_accepted if each.scenario == scenario]
        failures = [[each for each in bounds if (each.scenario, each.seed) == (scenario, n.seeds[0])] for n in own]
        count = sum(map(bool, [*failures, later]))
        suite = SubElement(root, "testsuite", name=scenario, tests=str(len(own) + 1), failures=str(count))
        for night, failed in zip(own, failures, strict=True):
            _case(suite, scenario, f"seed {night.seeds[0]}", night.real_s, failed)
        _case(suite, scenario, COMPARISON, 0.0, later)
    indent(root)
    return '<?xml version="1.0" encoding="utf-8"?>\n' + tostring(root, encoding="unicode") + "\n"


def _case(suite: Element, scenario: str, name: str, real_s: float, worse: Sequence[Worse]) -> None:
    case = SubElement(suite, "testcase", classname=f"nightly.{scenario}", name=name, time=f"{real_s:.3f}")
    if worse:
        failure = SubElement(case, "failure", message=_NOT_XML.sub("?", worse[0].words))
        failure.text = _NOT_XML.sub("?", "\n".join(map(str, worse)))
