"""Power on the simulated board: runs the firmware's `main.py`, again after each power cut that the test orders."""

import sys

import machine

while True:
    try:
        import main  # noqa: F401
    except machine.PowerCut:
        sys.modules.pop("main", None)
        machine.power_on()
    else:
        break
